// @ts-check
// The A-weighting of IEC 61672-1 (Electroacoustics - Sound level meters, annex E) as a filter. The
// poles below 1 kHz go over by the bilinear transform; the double pole at 12.2 kHz, where that
// transform bends, by one pole and one zero fitted to the curve at the rate in use.

const F1 = 20.598997;
const F2 = 107.652649;
const F3 = 737.862231;
const F4 = 12194.217148;
const REFERENCE_HZ = 1000;
const AT_1KHZ_DB = 1.999656; // so that the curve is 0 dB at 1 kHz

/** The curve itself in dB. @param {number} hz > 0 */
export function curveDb(hz) {
  const f = hz * hz;
  const gain =
    (F4 ** 2 * f * f) /
    ((f + F1 ** 2) * Math.sqrt((f + F2 ** 2) * (f + F3 ** 2)) * (f + F4 ** 2));
  return 20 * Math.log10(gain) + AT_1KHZ_DB;
}

/** @typedef {{zero: number, pole: number}} Section (1 - zero/z) / (1 - pole/z) */

export class AWeighting {
  /** @param {number} rate frames a second */
  constructor(rate) {
    this.rate = rate;
    const low = [F1, F1, F2, F3].map((hz) => ({ zero: 1, pole: bilinear(hz, rate) }));
    const high = fitted(low, rate);
    /** @type {Section[]} */
    this.sections = [...low, high, high];
    this.gain = 10 ** (-responseDb(this.sections, REFERENCE_HZ, rate) / 20);
    this.last = new Float64Array(2 * this.sections.length);
  }

  /** Gain of the filter in dB. @param {number} hz */
  db(hz) {
    return responseDb(this.sections, hz, this.rate) + 20 * Math.log10(this.gain);
  }

  /** Weighs the next samples and returns the sum of their squares. @param {Float32Array} samples */
  square(samples) {
    const { sections, last, gain } = this;
    let sum = 0;
    for (const sample of samples) {
      let x = gain * sample;
      for (let k = 0; k < sections.length; k++) {
        const y = x - sections[k].zero * last[2 * k] + sections[k].pole * last[2 * k + 1];
        last[2 * k] = x;
        last[2 * k + 1] = y;
        x = y;
      }
      sum += x * x;
    }
    return sum;
  }
}

/** @param {number} hz @param {number} rate */
function bilinear(hz, rate) {
  const turn = Math.PI * (hz / rate);
  return (1 - turn) / (1 + turn);
}

/** @param {Section[]} sections @param {number} hz @param {number} rate */
function responseDb(sections, hz, rate) {
  const turn = (2 * Math.PI * hz) / rate;
  const size = (/** @type {number} */ a) => 1 + a * a - 2 * a * Math.cos(turn);
  return sections.reduce((db, s) => db + 10 * Math.log10(size(s.zero) / size(s.pole)), 0);
}

/** The section that, used twice, stays nearest to the curve up to 16 kHz. @param {Section[]} low @param {number} rate */
function fitted(low, rate) {
  const top = Math.min(16_000, 0.42 * rate);
  const at = Array.from({ length: 12 }, (_, i) => 1000 * (top / 1000) ** (i / 11));
  const wanted = at.map((hz) => curveDb(hz) - curveDb(REFERENCE_HZ));
  let best = { zero: 0, pole: 0, off: Infinity };
  for (let span = 1, round = 0; round < 5; round++, span /= 8) {
    const around = { ...best };
    for (let i = -12; i <= 12; i++) {
      for (let j = -12; j <= 12; j++) {
        const one = { zero: around.zero + (span * i) / 12, pole: around.pole + (span * j) / 12 };
        if (Math.abs(one.pole) >= 0.99 || Math.abs(one.zero) > 1) continue;
        const all = [...low, one, one];
        const level = responseDb(all, REFERENCE_HZ, rate);
        const off = Math.max(...at.map((hz, k) => Math.abs(responseDb(all, hz, rate) - level - wanted[k])));
        if (off < best.off) best = { ...one, off };
      }
    }
  }
  return { zero: best.zero, pole: best.pole };
}
