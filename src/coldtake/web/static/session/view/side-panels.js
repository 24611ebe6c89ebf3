// @ts-check
// What stands beside a session and is never in its way: microphone and level, tuner and drone. Its
// drawers close and fall silent when a take begins.

/** @import {Desk} from "../flow/desk.js" */
import { attr, el, html, show, svg, text } from "./dom.js";
import { SoundExposure } from "../audio/sound-exposure.js";
import { SoundExposurePanel, FULL_WORDS } from "./sound-exposure-panel.js";
import { KEYBOARD_WORDS } from "../audio/midi-input.js";
import { LevelCheck } from "../audio/level.js";
import { WINDOW } from "../audio/pitch.js";
import { MIC_WORDS } from "../audio/sound.js";
import { LEAST_LEVEL_DB, levelDb } from "../audio/take-end.js";
import { TunerPanel } from "../tuner/tuner-panel.js";
import { now as timeNow } from "../flow/monotonic-clock.js";

const MIDI = "midi:";
const KEPT = "microphone"; // in the page's store: the device chosen last

export class SidePanels {
  /** @param {Desk} desk */
  constructor(desk) {
    this.desk = desk;
    this.check = new LevelCheck();
    /** @type {TunerPanel | null} */
    this.tuner = null;
    /** @type {AnalyserNode | null} */
    this.analyser = null;
    /** @type {AudioNode | null} */
    this.looked = null;
    this.window = new Float32Array(WINDOW);
    /** @type {string} label of the device last time */
    this.lastLabel = "";
    this.devices = /** @type {HTMLSelectElement} */ (html("select"));
    this.advice = html("p", "", "large");
    this.meter = svg("rect", { class: "level-now", height: 4, width: 0 });
    this.sentence = html("p", "", "sound-check");
    this.sentence.hidden = true;
    this.tunerDrawer = drawer("tuner-drawer", "Tuner");
    this.soundDrawer = drawer("sound-drawer", "Microphone");
    this.earsDrawer = drawer("ears-drawer", "Sound level");
    this.fillSound();
    this.ears = new SoundExposure(desk.store, () => desk.sound.label);
    this.ears.onFull = () => desk.say(FULL_WORDS, 60_000);
    this.earsPanel = new SoundExposurePanel(inside(this.earsDrawer), this.ears);
    el("stage").before(this.soundDrawer, this.tunerDrawer, this.earsDrawer);
    el("edge").prepend(this.sentence);
    desk.takes.onLevel = (level, peak) => this.check.hear(level, peak);
    this.tunerDrawer.addEventListener("toggle", () => void this.toggleTuner());
    this.soundDrawer.addEventListener("toggle", () => void this.listDevices());
    this.devices.addEventListener("change", () => void this.choose());
    navigator.mediaDevices?.addEventListener("devicechange", () => void this.listDevices());
    void this.recall();
  }

  async recall() {
    await this.ears.recall();
    const kept = await this.desk.store.recall(KEPT);
    if (!kept) return;
    if (kept.id.startsWith(MIDI)) return this.desk.sound.keyboard.open(kept.id.slice(MIDI.length));
    this.desk.sound.device = kept.id;
    this.lastLabel = kept.label;
  }

  fillSound() {
    const label = html("label");
    label.append(html("span", "Microphone or keyboard", "name"), this.devices);
    const meter = svg("svg", { class: "level-meter", viewBox: "0 0 100 4", preserveAspectRatio: "none", "aria-hidden": "true" });
    meter.append(svg("rect", { class: "level-ground", width: 100, height: 4 }), this.meter);
    inside(this.soundDrawer).append(label, meter, this.advice);
  }

  /** The browser names devices only once the microphone was allowed. */
  async listDevices() {
    if (!this.soundDrawer.open) return;
    const { sound } = this.desk;
    await sound.open(true);
    const keyboards = sound.keyboard.inputs.map((k) => new Option(`Keyboard: ${k.name}`, MIDI + k.id));
    const askFirst = keyboards.length === 0 && "requestMIDIAccess" in navigator;
    const all = await navigator.mediaDevices?.enumerateDevices().catch(() => []);
    const inputs = (all ?? []).filter((d) => d.kind === "audioinput");
    this.devices.replaceChildren(
      new Option("browser’s default", ""),
      ...inputs.filter((d) => d.label).map((d) => new Option(d.label, d.deviceId)),
      ...keyboards,
      ...(askFirst ? [new Option("a MIDI keyboard", MIDI)] : []),
    );
    const { keyboard } = sound;
    const known = inputs.some((d) => d.deviceId === sound.device) ? sound.device : "";
    this.devices.value = keyboard.ready ? MIDI + keyboard.input?.id : known;
  }

  async choose() {
    const { sound, store } = this.desk;
    const id = this.devices.value;
    this.check.forget();
    if (id.startsWith(MIDI)) return this.chooseKeyboard(id);
    sound.keyboard.close();
    await sound.choose(id);
    this.lastLabel = this.devices.selectedOptions[0]?.label ?? "";
    await store.note(KEPT, { id, label: this.lastLabel }).catch(() => undefined);
    this.desk.changed();
  }

  /** @param {string} id */
  async chooseKeyboard(id) {
    const { sound, store } = this.desk;
    await sound.keyboard.open(id.slice(MIDI.length));
    if (sound.keyboard.ready) {
      sound.closeMicrophone();
      const kept = { id: MIDI + sound.keyboard.input?.id, label: sound.keyboard.label };
      await store.note(KEPT, kept).catch(() => undefined);
    }
    await this.listDevices();
    this.desk.changed();
  }

  async toggleTuner() {
    const { desk } = this;
    if (!this.tunerDrawer.open) return this.tuner?.stop();
    this.tuner ??= new TunerPanel(
      inside(this.tunerDrawer),
      {
        context: () => desk.sound.open(false).then(() => desk.sound.context),
        microphone: () => desk.sound.open(true).then(() => desk.sound.source),
        trouble: () => MIC_WORDS[desk.sound.mic],
      },
      desk.snapshot?.settings.a4_hz ?? 440,
    );
    await this.tuner.start();
  }

  draw() {
    const { desk } = this;
    const { screen } = desk.scene();
    const free = ["intention", "quiet", "slot", "break", "between"].includes(screen) && !desk.takes.busy;
    for (const one of [this.soundDrawer, this.tunerDrawer, this.earsDrawer]) show(one, free);
    for (const one of [this.tunerDrawer, this.soundDrawer, this.earsDrawer]) {
      if (!free) one.open = false;
    }
    const open = [this.tunerDrawer, this.soundDrawer, this.earsDrawer].some((one) => one.open);
    if (open) desk.handsFree.asideMs = timeNow();
    if (desk.takes.busy) this.tuner?.stopDrone();
    if (screen === "end" && !desk.takes.busy) desk.sound.closeMicrophone();
    this.drawLevel(screen, free);
    void this.ears.listen(desk.sound.source);
    if (this.earsDrawer.open) this.earsPanel.draw();
    // Said in the first break, not in every one.
    show(el("break-pain"), (desk.session?.breaks.length ?? 0) <= 1);
  }

  /** A look at the sound itself, for the hum in it; only while the check is shown. */
  look() {
    const { source } = this.desk.sound;
    if (!source) return;
    if (this.analyser?.context !== source.context || this.looked !== source) {
      this.analyser = new AnalyserNode(source.context, { fftSize: WINDOW });
      source.connect(this.analyser);
      this.looked = source;
      this.check.forget();
    }
    this.analyser.getFloatTimeDomainData(this.window);
    this.check.look(this.window, source.context.sampleRate);
  }

  /** One sentence until the first take; afterwards each take says it, and the drawer. */
  drawLevel(/** @type {string} */ screen, /** @type {boolean} */ free) {
    const { sound, session } = this.desk;
    const open = sound.mic === "open";
    const missed = this.lastLabel && open && sound.device && sound.label !== this.lastLabel;
    const other = missed ? ` The last microphone is not connected. Now used: ${sound.label}.` : "";
    const { keyboard } = sound;
    const keys = KEYBOARD_WORDS[keyboard.state];
    const words = keyboard.ready || !open ? keys : this.check.words + other;
    const first = session !== null && !session.tries.some((t) => t.takeId);
    const early = free && ["intention", "quiet", "slot"].includes(screen) && first;
    if (open && (early || this.soundDrawer.open)) this.look();
    show(this.sentence, early && words !== "");
    text(this.sentence, words);
    if (!this.soundDrawer.open) return;
    const otherwise = open ? "Measuring the level. Nothing is recorded." : MIC_WORDS[sound.mic];
    text(this.advice, words || keys || otherwise);
    const db = levelDb(this.check.loudestLately);
    attr(this.meter, "width", Math.round(100 * (1 - db / LEAST_LEVEL_DB)));
  }
}

/** @param {string} id @param {string} words */
function drawer(id, words) {
  const node = /** @type {HTMLDetailsElement} */ (html("details"));
  node.id = id;
  node.append(html("summary", words), html("div", "", `drawer ${id}`));
  return node;
}

const inside = (/** @type {HTMLElement} */ node) =>
  /** @type {HTMLElement} */ (node.lastElementChild);
