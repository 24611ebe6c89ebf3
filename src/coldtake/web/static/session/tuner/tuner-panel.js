// @ts-check
// Tuner and drone as one panel, in the session's drawer and on a page of their own. Choices stay in
// this browser.

/** @import {Temper, Tuning} from "./tuning.js" */
import { attr, html, svg, text } from "../view/dom.js";
import { Drone } from "./drone.js";
import { TunerInput } from "./tuner-input.js";
import { centsWords } from "./median-filter.js";
import { A4_LEAST, A4_MOST, NAMES, named } from "./tuning.js";
import { TunerStave } from "./tuner-stave.js";
import { now as timeNow } from "../flow/monotonic-clock.js";

const KEPT = "tuner";
const SAID_EVERY_MS = 1500; // for who listens to the page
/** @type {[string, string][]} */
const TEMPERS = [["equal", "equal"], ["just", "just"], ["pythagorean", "pure fifths (Pythagorean)"]];
/** @type {[string, string][]} Semitones from what sounds to what is read. */
const READERS = [["0", "as it sounds"], ["2", "for B♭"], ["3", "for A"], ["7", "for F"], ["9", "for E♭"]];
/** @type {[string, string][]} */
const SECONDS = [["0", "alone"], ["7", "and its fifth"], ["12", "and its octave"], ["4", "and its major third"], ["3", "and its minor third"], ["5", "and its fourth"]];
const DEFAULTS = { a4: 440, temper: "equal", tonic: 0, reader: 0, note: 9, octave: 3, second: 0, volume: 40 };

/**
 * @typedef {object} Sounds
 * @property {() => Promise<AudioContext | null>} context opened by a touch or key
 * @property {() => Promise<AudioNode | null>} microphone null where there is none
 * @property {() => string} trouble why there is no microphone, in words
 */

export class TunerPanel {
  /** @param {HTMLElement} root @param {Sounds} sounds @param {number} a4 the setting's */
  constructor(root, sounds, a4) {
    this.sounds = sounds;
    this.chosen = { ...DEFAULTS, a4, ...remembered() };
    this.drone = new Drone();
    this.ear = new TunerInput(() => this.draw());
    this.saidMs = 0;
    this.open = false;
    this.name = html("p", "", "tuner-name");
    this.words = html("p", "Play a long note.", "tuner-words");
    const drawing = svg("svg", { class: "tuner-stave", role: "img", "aria-label": "No sound" });
    this.stave = new TunerStave(/** @type {SVGElement} */ (drawing));
    this.button = html("button", "Start drone");
    attr(this.button, "type", "button");
    this.button.addEventListener("click", () => void this.turnDrone());
    const heard = html("div", "", "tuner-heard");
    heard.append(this.name, drawing, this.words);
    root.replaceChildren(heard, this.tuningRow(), this.droneRow());
    this.keyField = /** @type {HTMLElement} */ (root.querySelector("[data-for=tonic]"));
    this.showChosen();
  }

  /** @returns {Tuning} */
  get tuning() {
    const { a4, temper, tonic } = this.chosen;
    return { a4, temper: /** @type {Temper} */ (temper), tonic };
  }

  /** Listens until `stop`. Must be called from a touch or key. */
  async start() {
    this.open = true;
    const source = await this.sounds.microphone();
    if (!this.open) return;
    if (source) await this.ear.listen(source);
    else text(this.words, this.sounds.trouble());
  }

  stop() {
    this.open = false;
    this.ear.stop();
  }

  stopDrone() {
    if (!this.drone.on) return;
    this.drone.stop();
    text(this.button, "Start drone");
  }

  async turnDrone() {
    if (this.drone.on) return this.stopDrone();
    const context = await this.sounds.context();
    if (!context) return text(this.words, "This browser has no sound.");
    this.sound(context);
    text(this.button, "Stop drone");
  }

  sound(/** @type {AudioContext} */ context) {
    const { note, octave, second, volume } = this.chosen;
    const low = note + 12 * (octave + 1);
    this.drone.play(context, second ? [low, low + second] : [low], this.tuning, volume / 100);
  }

  draw() {
    const now = timeNow();
    const figure = this.ear.steady.figure(this.tuning, now);
    this.stave.draw(figure, now);
    if (!figure) {
      text(this.words, "Play a long note.");
      return text(this.name, "");
    }
    const { name, octave } = named(figure.pitch, this.chosen.reader);
    const words = centsWords(figure.cents);
    text(this.name, `${name}${octave}`);
    text(this.words, figure.steady ? words : "…");
    if (figure.steady && now - this.saidMs > SAID_EVERY_MS) {
      this.saidMs = now;
      attr(this.stave.node, "aria-label", `${name}${octave}, ${words}`);
    }
  }

  tuningRow() {
    const row = html("div", "", "tuner-row row");
    row.append(
      number("A4, Hz", "a4", A4_LEAST, A4_MOST, this.chosen.a4, this),
      choice("Tuning", "temper", TEMPERS, this),
      choice("on", "tonic", NAMES.map((name, i) => [String(i), name]), this),
      choice("Names", "reader", READERS, this),
    );
    return row;
  }

  droneRow() {
    const row = html("div", "", "tuner-row row");
    const octaves = [1, 2, 3, 4, 5].map((o) => /** @type {[string, string]} */ ([String(o), String(o)]));
    row.append(
      this.button,
      choice("Drone on", "note", NAMES.map((name, i) => [String(i), name]), this),
      choice("Octave", "octave", octaves, this),
      choice("Tones", "second", SECONDS, this),
      slider("Volume", "volume", this),
    );
    return row;
  }

  /** @param {string} name @param {string} value */
  choose(name, value) {
    const chosen = name === "temper" ? value : Number(value);
    this.chosen = { ...this.chosen, [name]: chosen };
    this.showChosen();
    try {
      localStorage.setItem(KEPT, JSON.stringify(this.chosen));
    } catch {
      // kept for this page only
    }
    if (this.drone.on) void this.sounds.context().then((context) => context && this.sound(context));
  }

  showChosen() {
    this.keyField.hidden = this.chosen.temper === "equal";
  }
}

function remembered() {
  try {
    const kept = JSON.parse(localStorage.getItem(KEPT) ?? "{}");
    const fits = Object.entries(kept).filter(
      ([name, value]) => typeof value === typeof (/** @type {any} */ (DEFAULTS)[name]),
    );
    return Object.fromEntries(fits);
  } catch {
    return {};
  }
}

/** @param {string} words @param {HTMLElement} field @param {string} name */
function labelled(words, field, name) {
  const label = html("label");
  label.dataset.for = name;
  label.append(html("span", words, "name"), field);
  return label;
}

/** @param {string} words @param {string} name @param {[string, string][]} options @param {TunerPanel} panel */
function choice(words, name, options, panel) {
  const field = /** @type {HTMLSelectElement} */ (html("select"));
  for (const [value, shown] of options) field.append(new Option(shown, value));
  field.value = String(/** @type {any} */ (panel.chosen)[name]);
  field.addEventListener("change", () => panel.choose(name, field.value));
  return labelled(words, field, name);
}

/** @param {string} words @param {string} name @param {number} least @param {number} most @param {number} value @param {TunerPanel} panel */
function number(words, name, least, most, value, panel) {
  const field = /** @type {HTMLInputElement} */ (html("input"));
  Object.assign(field, { type: "number", min: least, max: most, step: "0.5", value: String(value) });
  field.addEventListener("input", () => {
    if (field.checkValidity() && field.value) panel.choose(name, field.value);
  });
  return labelled(words, field, name);
}

/** @param {string} words @param {string} name @param {TunerPanel} panel */
function slider(words, name, panel) {
  const field = /** @type {HTMLInputElement} */ (html("input"));
  Object.assign(field, { type: "range", min: "0", max: "100", step: "5" });
  field.value = String(/** @type {any} */ (panel.chosen)[name]);
  field.addEventListener("input", () => panel.choose(name, field.value));
  return labelled(words, field, name);
}
