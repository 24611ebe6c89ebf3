// @ts-check
// What the microphone gives before the first take, in one sentence: too loud, nothing, hum, a loud
// room, too quiet, good. Levels are root mean squares of a tenth of a second, 0..1.

import { Fft } from "./fft.js";
import { CLIPPED } from "./take-end.js";
import { WINDOW } from "./pitch.js";

const KEPT = 150; // tenths of a second looked back on
const DEAD = 1e-5; // -100 dB: no microphone is that quiet
const PLAYED = 4; // times the noise: somebody plays
const PLAYED_LEAST = 0.003;
const ROOM_LOUD = 0.01; // -40 dB
const TOO_QUIET = 0.01;
const NEAR_NOISE = 8; // 18 dB
const HUM_SHARE = 0.5; // of the quiet moments' power, in the mains' overtones
const HUM_LEAST = 5e-4; // -66 dB
const HUM_OVERTONES = 6;
const FORGETS = 0.9; // of the spectrum of quiet moments, at each new one

/** @typedef {"none" | "loud" | "dead" | "waiting" | "hum" | "room" | "quiet" | "near" | "good"} Finding */

/** One sentence each: what is so, and what to do. */
export const LEVEL_WORDS = Object.freeze({
  none: "",
  dead: "No sound arrives. Check that this is the right microphone and that it is on.",
  waiting: "Play your loudest bar to check the level.",
  loud: "Too loud for the microphone. Move it away or turn the input down.",
  hum: "There is mains hum. Move cables and chargers away from the microphone.",
  room: "The room is loud. Close the window or go closer to the microphone.",
  quiet: "Too quiet. Move the microphone closer.",
  near: "You are only a little louder than the room. Go closer to the microphone.",
  good: "The level is right.",
});

export class LevelCheck {
  constructor() {
    this.fft = new Fft(WINDOW);
    this.rate = 0;
    /** @type {{level: number, peak: number}[]} */
    this.heard = [];
    /** Power of the quiet moments. @type {Float64Array | null} */
    this.quiet = null;
    /** Once good, long playing is not taken for a loud room. */
    this.passed = false;
  }

  /** Another device: nothing is known of it. */
  forget() {
    this.heard = [];
    this.quiet = null;
    this.passed = false;
  }

  /** @param {number} level @param {number} peak of the last tenth of a second */
  hear(level, peak) {
    this.heard = [...this.heard.slice(1 - KEPT), { level, peak }];
  }

  /** The sound itself, now and then, for the hum in it. @param {Float32Array} window @param {number} rate */
  look(window, rate) {
    this.rate = rate;
    if (this.heard.length < 10 || this.loudestLately > 2 * this.noise) return;
    const power = spectrum(window, this.fft);
    const before = this.quiet;
    this.quiet = before ? power.map((p, i) => FORGETS * before[i] + (1 - FORGETS) * p) : power;
  }

  get noise() {
    const lately = this.heard.map((one) => one.level);
    return lately.sort((a, b) => a - b)[Math.floor(lately.length / 10)] ?? 0;
  }

  get loudestLately() {
    return Math.max(0, ...this.heard.slice(-3).map((one) => one.level));
  }

  get loudest() {
    return Math.max(0, ...this.heard.map((one) => one.level));
  }

  get played() {
    return this.loudest > Math.max(PLAYED_LEAST, PLAYED * this.noise);
  }

  /** The mains' frequency when it hums, else null. @returns {50 | 60 | null} */
  get hum() {
    if (!this.quiet || this.noise < HUM_LEAST) return null;
    const all = this.quiet.reduce((sum, p) => sum + p, 0);
    const [fifty, sixty] = [50, 60].map((hz) => overtones(/** @type {any} */ (this.quiet), hz, this.rate));
    if (Math.max(fifty, sixty) < HUM_SHARE * all) return null;
    return fifty > sixty ? 50 : 60;
  }

  /** @returns {Finding} */
  get finding() {
    const now = this.findingNow;
    this.passed ||= now === "good";
    return this.passed && !["loud", "dead", "hum"].includes(now) ? "good" : now;
  }

  /** @returns {Finding} */
  get findingNow() {
    if (this.heard.length < 10) return "none";
    if (Math.max(...this.heard.map((one) => one.peak)) >= CLIPPED) return "loud";
    if (this.loudest < DEAD) return "dead";
    if (this.hum !== null) return "hum";
    if (!this.played) return this.noise > ROOM_LOUD ? "room" : "waiting";
    if (this.loudest < TOO_QUIET) return "quiet";
    return this.loudest < NEAR_NOISE * this.noise ? "near" : "good";
  }

  get words() {
    const { finding } = this;
    const words = LEVEL_WORDS[finding];
    return finding === "hum" ? words.replace("mains hum", `mains hum at ${this.hum} Hz`) : words;
  }
}

/** @param {Float32Array} window @param {Fft} fft */
function spectrum(window, fft) {
  const re = Float64Array.from(window, (x, i) => x * (0.5 - 0.5 * Math.cos((2 * Math.PI * i) / WINDOW)));
  const im = new Float64Array(WINDOW);
  fft.run(re, im);
  return Float64Array.from({ length: WINDOW / 2 }, (_, i) => re[i] ** 2 + im[i] ** 2);
}

/** Power at a frequency and its overtones, two bins to each side. @param {Float64Array} power @param {number} hz @param {number} rate */
function overtones(power, hz, rate) {
  let sum = 0;
  for (let n = 1; n <= HUM_OVERTONES; n++) {
    const at = Math.round((n * hz * WINDOW) / rate);
    for (let bin = at - 1; bin <= at + 1; bin++) sum += power[bin] ?? 0;
  }
  return sum;
}
