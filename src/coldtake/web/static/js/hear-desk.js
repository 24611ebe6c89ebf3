// @ts-check
// "Hear and loop": the page's controls to the player, and what the player says back to the page.

/** @import {How, Score, Segment} from "../sound/model.js" */
import { Cursor, follow } from "../sound/cursor.js";
import { Player } from "../sound/player.js";
import { Sheet } from "../sound/sheet.js";

const SILENT = "It cannot be played: Coldtake does not answer, or this browser has no sound.";

/** @param {string} id @returns {any} */
const el = (id) => document.getElementById(id);
const number = (/** @type {string} */ id, otherwise = 0) => {
  const value = Number(el(id)?.value);
  return el(id)?.value === "" || !Number.isFinite(value) ? otherwise : value;
};
const ticked = (/** @type {string} */ id) => Boolean(el(id)?.checked);
const value = (/** @type {string} */ id) => String(el(id)?.value ?? "");
const say = (/** @type {string} */ words) => {
  if (el("said")) el("said").textContent = words;
};

export class Desk {
  constructor(/** @type {HTMLElement} */ root) {
    this.root = root;
    this.player = new Player();
    this.player.onChange = () => this.shown();
    this.sheet = new Sheet(el("sheet"), root.dataset.svg ?? "");
    this.cursor = new Cursor(el("sheet"));
    this.sheet.onDraw = () => this.cursor.index();
    this.sheet.onChoose = () => this.chosen();
    /** @type {Score | null} */
    this.score = null;
    this.feel = "";
  }

  async open() {
    try {
      const [score] = await Promise.all([this.load(), this.sheet.draw()]);
      this.sheet.choosable(score.bars, Number(this.root.dataset.offset ?? 0));
    } catch {
      say("The music cannot be loaded: Coldtake does not answer. Reload the page.");
      return;
    }
    this.swingFits();
    this.wire();
    this.chosen();
    document.body.dataset.ready = "yes";
  }

  /** The score with the accompaniment that is chosen. */
  async load() {
    const feel = value("feel");
    const address = this.root.dataset.score ?? "";
    const joint = address.includes("?") ? "&" : "?";
    const response = await fetch(feel ? `${address}${joint}feel=${feel}` : address);
    if (!response.ok) throw new Error("no score");
    this.score = /** @type {Score} */ (await response.json());
    this.feel = feel;
    return this.score;
  }

  wire() {
    el("play").addEventListener("click", () => void this.toggle());
    el("all-bars").addEventListener("click", () => {
      this.sheet.choice?.set(null);
      this.sheet.told();
    });
    for (const [id, by] of /** @type {[string, number][]} */ ([["slower", -1], ["faster", 1]])) {
      el(id).addEventListener("click", () => this.step(by));
    }
    this.root.addEventListener("change", (event) => void this.changed(event));
    document.addEventListener("keydown", (event) => this.key(event));
    addEventListener("pagehide", () => this.player.stop());
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    const on = /** @type {Element} */ (event.target);
    const busy = on.matches("input, select, textarea, button, a, summary");
    if (event.ctrlKey || event.metaKey || event.altKey || busy) return;
    if (event.key === " ") void this.toggle();
    else if (event.key === "+" || event.key === "=") this.step(1);
    else if (event.key === "-") this.step(-1);
    else return;
    event.preventDefault();
  }

  /** To the next metronome mark. */
  step(/** @type {number} */ by) {
    const marks = this.score?.marks ?? [];
    const now = number("tempo", 80);
    const next = by > 0 ? marks.find((m) => m > now) : marks.findLast((m) => m < now);
    if (next === undefined) return;
    el("tempo").value = String(next);
    this.player.change(this.how());
  }

  /** @param {Event} event */
  async changed(event) {
    if (/** @type {Element} */ (event.target).id === "feel") {
      await this.load().catch(() => say(SILENT));
      this.swingFits();
      if (this.player.playing) return this.begin();
    }
    if (this.player.playing) this.player.change(this.how());
    else if (ticked("drone-on") || this.singing) await this.sing();
  }

  /** Swung or straight as the feel has it; the player may choose otherwise afterwards. */
  swingFits() {
    const swing = el("feel")?.selectedOptions[0]?.dataset.swing;
    if (swing && el("swing")) el("swing").value = swing;
  }

  get singing() {
    return this.root.dataset.singing === "yes";
  }

  async sing() {
    if (!this.score) return;
    this.root.dataset.singing = ticked("drone-on") ? "yes" : "no";
    await this.player.sing(this.score, this.how()).catch(() => say(SILENT));
  }

  toggle() {
    if (!this.player.playing) return this.begin();
    this.player.stop();
    if (ticked("drone-on")) void this.sing();
  }

  async begin() {
    if (!this.score) return;
    try {
      await this.player.play(this.score, this.how());
    } catch {
      return say(SILENT);
    }
    say("");
    follow(this.player, this.cursor, (place) => this.told(place));
  }

  /** @returns {How} */
  how() {
    const range = this.sheet.choice?.range ?? { first: 0, last: (this.score?.bars.length ?? 1) - 1 };
    const unit = number("unit", 1);
    const beats = [...this.root.querySelectorAll("[data-beat]")].map((box) => /** @type {any} */ (box).checked);
    return {
      ...range,
      bpm: Math.max(10, Math.min(400, number("tempo", 80))) * unit,
      times: Math.max(0, number("times")),
      countBars: number("count-in"),
      countEach: ticked("count-each"),
      unit,
      click: {
        beats,
        every: number("every-bar", 1),
        sound: Math.max(1, number("sound-bars", 1)),
        silent: number("silent-bars"),
      },
      swing: number("swing", 0.5),
      ramp: { every: number("ramp-every"), to: number("ramp-to") },
      voice: value("voice"),
      levels: {
        tune: value("voice") === "none" ? 0 : 1,
        click: ticked("click-on") ? number("click-level", 60) / 60 : 0,
        drone: ticked("drone-on") ? 1 : 0,
        bass: this.feel && ticked("bass") ? 1 : 0,
        chords: this.feel && ticked("chords") ? 1 : 0,
      },
      drone: value("drone-kind").split(" ").filter(Boolean).map(Number),
      tonic: number("tonic"),
      tuning: value("tuning"),
    };
  }

  /** The bars that were chosen, in words, and the other times at which they are played. */
  chosen() {
    const choice = this.sheet.choice;
    if (!choice) return;
    el("bars-said").textContent = choice.half ? `${choice.words()}. Now select the last bar.` : choice.words();
    el("all-bars").hidden = choice.range === null;
    const readings = choice.half ? [] : choice.readings();
    el("readings").replaceChildren(...(readings.length > 1 ? readings.map((r) => this.reading(r)) : []));
    if (!choice.half) this.player.change(this.how());
  }

  /** @param {import("../sound/bar-choice.js").Range} range */
  reading(range) {
    const choice = this.sheet.choice;
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = choice?.words(range) ?? "";
    const same = choice?.range?.first === range.first && choice?.range?.last === range.last;
    button.setAttribute("aria-pressed", String(same));
    button.addEventListener("click", () => {
      choice?.set(range);
      this.sheet.told();
    });
    return button;
  }

  shown() {
    el("play").textContent = this.player.playing ? "Stop" : "Play";
  }

  /** @param {{segment: Segment} | null} place */
  told(place) {
    const words = place ? this.words(place.segment) : "";
    if (el("now-said").textContent !== words) el("now-said").textContent = words;
  }

  /** @param {Segment} segment */
  words(segment) {
    const mark = Math.round((segment.bpm / number("unit", 1)) * 10) / 10;
    const times = number("times");
    const time = `Repeat ${segment.pass + 1}${times ? ` of ${times}` : ""} at ${mark}`;
    return segment.kind === "count" ? `${time}: count-in` : time;
  }
}

const root = document.getElementById("desk");
if (root) void new Desk(root).open();
