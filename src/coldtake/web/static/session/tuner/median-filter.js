// @ts-check
// From single measurements to one figure that stands still: the median of the last half second of
// one note. A new note begins anew; a slip of a measurement moves nothing.

/** @import {Tuning} from "./tuning.js" */
import { nearest } from "./tuning.js";

const KEPT_MS = 600;
const SAME_CENTS = 70; // further off is another note, once it lasts
const NEW_AFTER = 2; // measurements of another note in a row
const GONE_MS = 400; // so long the last figure stands after the tone
const ENOUGH = 4;
const STEADY_CENTS = 4; // middle spread of a tone that is held

/**
 * @typedef {object} Figure
 * @property {number} pitch MIDI number of the note meant
 * @property {number} cents above it, the median
 * @property {boolean} steady enough measurements, near to each other
 * @property {number} atMs of the last measurement
 */

const median = (/** @type {number[]} */ values) => {
  const sorted = [...values].sort((a, b) => a - b);
  const half = sorted.length / 2;
  return (sorted[Math.floor(half)] + sorted[Math.ceil(half) - 1]) / 2;
};
const cents = (/** @type {number} */ hz) => 1200 * Math.log2(hz);

export class MedianFilter {
  constructor() {
    /** @type {{hz: number, atMs: number}[]} */
    this.heard = [];
    /** @type {{hz: number, atMs: number}[]} */
    this.other = [];
  }

  /** @param {number | null} hz null where no tone is heard @param {number} atMs */
  hear(hz, atMs) {
    this.heard = this.heard.filter((one) => one.atMs > atMs - KEPT_MS);
    if (hz === null) return;
    if (this.heard.length && Math.abs(cents(hz) - this.middle) > SAME_CENTS) {
      this.other.push({ hz, atMs });
      if (this.other.length < NEW_AFTER) return;
      this.heard = this.other;
    } else this.heard.push({ hz, atMs });
    this.other = [];
  }

  get middle() {
    return median(this.heard.map((one) => cents(one.hz)));
  }

  /** @param {Tuning} tuning @param {number} atMs @returns {Figure | null} */
  figure(tuning, atMs) {
    const last = this.heard.at(-1);
    if (!last || atMs - last.atMs > GONE_MS) return null;
    const { middle } = this;
    const spread = median(this.heard.map((one) => Math.abs(cents(one.hz) - middle)));
    const steady = this.heard.length >= ENOUGH && spread <= STEADY_CENTS;
    return { ...nearest(2 ** (middle / 1200), tuning), steady, atMs: last.atMs };
  }
}

/** In words, so that colour and place are not the only signs. */
export function centsWords(/** @type {number} */ value) {
  const whole = Math.round(Math.abs(value));
  if (whole <= 2) return "in tune";
  return `${whole} cents ${value > 0 ? "sharp" : "flat"}`;
}
