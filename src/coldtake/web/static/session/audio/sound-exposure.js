// @ts-check
// How loud it is at the microphone. Without a calibration only relative; with the reading of a sound
// level meter, dB(A) and the day's dose. Nothing of the sound is kept, only levels added up.

import { CLIPPED } from "./take-end.js";
import { dosePercent } from "./hearing-dose.js";
import { practiceDay } from "../flow/dates.js";
import { now as timeNow } from "../flow/monotonic-clock.js";

const KEPT = "ears";
const LOOKED_BACK = 10; // half seconds that a calibration rests on
const STEADY_DB = 1.5;
const FULL_DOSE = 100;

/** @typedef {{offsets: Record<string, number>, day: string, percent: number, told: boolean}} Kept */

export class SoundExposure {
  /** @param {import("../keeping/store.js").SessionStore} store @param {() => string} device label of the open microphone */
  constructor(store, device) {
    this.store = store;
    this.device = device;
    /** @type {Kept} */
    this.kept = { offsets: {}, day: "", percent: 0, told: false };
    /** @type {number[]} weighted levels, dB below full scale */
    this.lately = [];
    this.clipped = false;
    /** @type {AudioNode | null} */
    this.source = null;
    this.onFull = () => {};
  }

  async recall() {
    this.kept = { ...this.kept, ...(await this.store.recall(KEPT)) };
  }

  /** @param {AudioNode | null} source */
  async listen(source) {
    if (!source || this.source === source) return;
    this.source = source;
    this.lately = [];
    const context = /** @type {AudioContext} */ (source.context);
    await context.audioWorklet.addModule(new URL("level-worklet.js", import.meta.url));
    const node = new AudioWorkletNode(context, "coldtake-ears", { numberOfOutputs: 0 });
    node.port.onmessage = ({ data }) => this.source === source && this.hear(data);
    source.connect(node);
  }

  hear(/** @type {{square: number, seconds: number, peak: number}} */ { square, seconds, peak }) {
    const level = 10 * Math.log10(square + 1e-15);
    this.lately = [...this.lately.slice(1 - LOOKED_BACK), level];
    this.clipped = peak >= CLIPPED;
    this.turnDay();
    if (this.levelDb === null) return;
    const before = this.kept.percent;
    this.kept.percent += dosePercent(level + /** @type {number} */ (this.offset), seconds);
    if (this.kept.percent === before) return;
    if (this.kept.percent >= FULL_DOSE && !this.kept.told) {
      this.kept.told = true; // once a day
      this.onFull();
    }
    void this.store.note(KEPT, this.kept).catch(() => undefined);
  }

  turnDay() {
    const day = practiceDay(timeNow());
    if (this.kept.day !== day) this.kept = { ...this.kept, day, percent: 0, told: false };
  }

  /** What is added to a level below full scale; null where this microphone is not calibrated. */
  get offset() {
    return this.kept.offsets[this.device()] ?? null;
  }

  /** dB(A) now, null without a calibration of this very microphone. */
  get levelDb() {
    const last = this.lately.at(-1);
    return this.offset === null || last === undefined ? null : last + this.offset;
  }

  /** Takes what a sound level meter shows now; returns what is wrong, or nothing. @param {number} shownDb */
  async calibrate(shownDb) {
    const { lately } = this;
    if (!(shownDb >= 50 && shownDb <= 120)) return "Enter what the meter shows: 50 to 120 dB(A).";
    if (lately.length < LOOKED_BACK) return "Wait: measuring takes 5 seconds.";
    if (this.clipped) return "Too loud for the microphone. Move it away, then hold the note again.";
    if (Math.max(...lately) - Math.min(...lately) > STEADY_DB) {
      return "Hold one steady note for 5 seconds, then press Calibrate.";
    }
    const mean = 10 * Math.log10(lately.reduce((sum, db) => sum + 10 ** (db / 10), 0) / lately.length);
    this.kept.offsets = { ...this.kept.offsets, [this.device()]: shownDb - mean };
    await this.store.note(KEPT, this.kept).catch(() => undefined);
    return "";
  }

  async forget() {
    const { [this.device()]: _gone, ...rest } = this.kept.offsets;
    this.kept.offsets = rest;
    await this.store.note(KEPT, this.kept).catch(() => undefined);
  }
}
