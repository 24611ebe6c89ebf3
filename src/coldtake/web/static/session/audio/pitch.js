// @ts-check
// The pitch of one steady tone, to a fraction of a cent.
//
// The normalised square difference function of P. McLeod and G. Wyvill, "A smarter way to find
// pitch", Proc. ICMC 2005, by Fourier transform; its first high peak is the period. The period is
// then measured over as many periods as the tone stays alike, so that the error of a peak's place
// is divided by their number; between samples the peak is a parabola.

import { Fft } from "./fft.js";

export const WINDOW = 8192; // samples: five periods of the lowest A of a piano at 48 kHz
const KEY_SHARE = 0.9; // of the highest peak that the first chosen one must reach
const CLEAR = 0.75; // less alike from period to period is no tone
const STILL_ALIKE = 0.9; // of the first peak's height, for a period further on to be used
const LOWEST_HZ = 25;
const HIGHEST_HZ = 5000;
const SILENT = 1e-4; // root mean square, -80 dB

/** @typedef {{hz: number, clarity: number}} Tone `clarity` 0..1 */

export class PitchFinder {
  /** @param {number} rate frames a second */
  constructor(rate) {
    this.rate = rate;
    this.fft = new Fft(2 * WINDOW);
    this.re = new Float64Array(2 * WINDOW);
    this.im = new Float64Array(2 * WINDOW);
    this.alike = new Float64Array(WINDOW / 2);
  }

  /** @param {Float32Array} samples WINDOW of them @returns {Tone | null} null without a tone */
  find(samples) {
    if (loudness(samples) < SILENT) return null;
    this.compare(samples);
    const first = this.firstPeak();
    if (first === null || this.alike[first] < CLEAR) return null;
    const hz = this.rate / this.period(first);
    if (hz < LOWEST_HZ || hz > HIGHEST_HZ) return null;
    return { hz, clarity: Math.min(1, this.alike[first]) };
  }

  /** How alike the sound is to itself so many samples later: 1 for the same. */
  compare(/** @type {Float32Array} */ samples) {
    const { re, im, alike } = this;
    re.fill(0);
    im.fill(0);
    re.set(samples);
    this.fft.run(re, im);
    for (let i = 0; i < re.length; i++) {
      re[i] = re[i] * re[i] + im[i] * im[i];
      im[i] = 0;
    }
    this.fft.run(re, im); // of an even sequence: forwards is backwards
    let square = 0;
    for (const x of samples) square += 2 * x * x;
    for (let lag = 0; lag < alike.length; lag++) {
      alike[lag] = square > 0 ? (2 * re[lag]) / re.length / square : 0;
      square -= samples[lag] ** 2 + samples[WINDOW - 1 - lag] ** 2;
    }
  }

  /** The first of the high peaks, each the highest between two crossings of zero. */
  firstPeak() {
    const { alike } = this;
    /** @type {number[]} */
    const peaks = [];
    let at = 1;
    while (at < alike.length && alike[at] > 0) at++;
    for (let best = 0; at < alike.length; at++) {
      if (alike[at] <= 0) {
        if (best) peaks.push(best);
        best = 0;
      } else if (at + 1 < alike.length && alike[at] > (best ? alike[best] : 0)) best = at;
    }
    if (peaks.length === 0) return null;
    const highest = Math.max(...peaks.map((p) => alike[p]));
    return peaks.find((p) => alike[p] >= KEY_SHARE * highest) ?? null;
  }

  /** The period in samples, measured over as many periods as are still alike. */
  period(/** @type {number} */ first) {
    const { alike } = this;
    let count = 1;
    let period = this.top(first);
    const least = STILL_ALIKE * alike[first];
    for (;;) {
      // Twice as far at most, so that the next peak cannot be taken for its neighbour.
      const next = Math.min(2 * count, Math.floor((alike.length - 3) / period));
      if (next <= count) return period;
      const near = this.climb(Math.round(next * period));
      if (alike[near] < least || Math.abs(near - next * period) > period / 4) return period;
      period = this.top(near) / next;
      count = next;
    }
  }

  climb(/** @type {number} */ at) {
    const { alike } = this;
    while (at + 1 < alike.length - 1 && alike[at + 1] > alike[at]) at++;
    while (at > 1 && alike[at - 1] > alike[at]) at--;
    return at;
  }

  /** Where a peak really is, between samples. */
  top(/** @type {number} */ at) {
    const [a, b, c] = [this.alike[at - 1], this.alike[at], this.alike[at + 1]];
    const bend = a - 2 * b + c;
    return bend < 0 ? at + (a - c) / (2 * bend) : at;
  }
}

/** Root mean square. */
export function loudness(/** @type {Float32Array} */ samples) {
  let square = 0;
  for (const x of samples) square += x * x;
  return Math.sqrt(square / samples.length);
}
