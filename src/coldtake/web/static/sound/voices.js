// @ts-check
// Own additive voices. Each partial is a two-term recursion (a decaying sine costs two
// multiplications a sample); every note begins and ends at zero under half a cosine, so nothing
// clicks. A note is as loud as any other of its voice by the A-weighted level of its partials
// (IEC 61672-1:2013, annex E), with the boost of low notes limited.

const A4_PITCH = 69;
const HIGHEST_HZ = 9000; // partials above add nothing but hiss
const MOST_BOOST = 3.5; // of a low note against A4, as a factor
const MOST_PARTIALS = 24;

/**
 * @typedef {object} Voice
 * @property {(k: number, hz: number) => number} strength of partial k of a note at hz
 * @property {number} attackS
 * @property {number} releaseS
 * @property {number} decayS to 1/e at A4, longer below; Infinity: blown or bowed
 * @property {number} damping extra decay of each higher partial
 * @property {number} stretch inharmonicity B of k f sqrt(1 + B k^2)
 * @property {number} level
 */

/** A sounding board carries little below its lowest mode: loud low notes without waste. */
const board = (/** @type {number} */ hz) => 1 / Math.hypot(1, (110 / hz) ** 1.5);

/** @type {Record<string, Voice>} */
export const VOICES = {
  struck: {
    strength: (k, hz) =>
      board(k * hz) * (1 / k ** 1.15) * Math.exp(-(k * hz) / 5200) * (k === 7 ? 0.3 : 1),
    attackS: 0.004,
    releaseS: 0.11,
    decayS: 1.3,
    damping: 0.22,
    stretch: 2.5e-4,
    level: 0.085,
  },
  blown: {
    strength: (k, hz) => (k % 2 ? 1 : 0.35) * (1 / k ** 1.25) * Math.exp(-(k * hz) / 6500),
    attackS: 0.022,
    releaseS: 0.035,
    decayS: Infinity,
    damping: 0,
    stretch: 0,
    level: 0.06,
  },
  bass: {
    strength: (k, hz) => board(k * hz) * (1 / k ** 1.1) * Math.exp(-(k * hz) / 1200),
    attackS: 0.006,
    releaseS: 0.06,
    decayS: 0.35,
    damping: 0.35,
    stretch: 5e-5,
    level: 0.04,
  },
  chords: {
    strength: (k, hz) => [0, 1, 0.3, 0.12, 0.1, 0.03, 0.02][k] * Math.exp(-(k * hz) / 6000) || 0,
    attackS: 0.006,
    releaseS: 0.09,
    decayS: 0.9,
    damping: 0.5,
    stretch: 0,
    level: 0.026,
  },
  drone: {
    strength: (k) => (k <= 10 ? 1 / k ** 1.2 : 0),
    attackS: 0.4,
    releaseS: 0.5,
    decayS: Infinity,
    damping: 0,
    stretch: 0,
    level: 0.022,
  },
};

/** @param {number} pitch MIDI number, fractions allowed @param {number} a4Hz */
export const pitchHz = (pitch, a4Hz) => a4Hz * 2 ** ((pitch - A4_PITCH) / 12);

/** A pitch in a tuning whose tonic stands as in equal temperament.
 * @param {number} pitch @param {number} tonic @param {number[]} cents */
export const tuned = (pitch, tonic, cents) => pitch + cents[(((pitch - tonic) % 12) + 12) % 12] / 100;

/** A-weighting as a factor, 1 at 1 kHz. */
export function aWeight(/** @type {number} */ hz) {
  const f = hz * hz;
  const r = (12194 ** 2 * f * f) / ((f + 20.6 ** 2) * (f + 12194 ** 2));
  return (1.2589 * r) / Math.sqrt((f + 107.7 ** 2) * (f + 737.9 ** 2));
}

/** @param {Voice} voice @param {number} hz @param {number} rate */
function spectrum(voice, hz, rate) {
  const found = [];
  for (let k = 1; k <= MOST_PARTIALS; k++) {
    const f = k * hz * Math.sqrt(1 + voice.stretch * k * k);
    if (f > Math.min(HIGHEST_HZ, 0.45 * rate) && k > 1) break;
    const strength = voice.strength(k, hz);
    if (strength > 0.003) found.push({ k, hz: f, strength });
  }
  return found;
}

/** @param {{hz: number, strength: number}[]} lines */
const loudness = (lines) => Math.hypot(...lines.map((p) => p.strength * aWeight(p.hz)));

/** @param {Voice} voice @param {number} hz @param {number} rate @returns {number} */
function evened(voice, hz, rate) {
  const here = loudness(spectrum(voice, hz, rate));
  const there = loudness(spectrum(voice, 440, rate));
  return Math.min(there / here, MOST_BOOST) / there;
}

/** One sounding note. `render` adds it to a block and says whether it goes on. */
export class Tone {
  /**
   * @param {Voice} voice @param {number} hz @param {number} level
   * @param {number} at frame of its onset @param {number} frames of its length @param {number} rate
   */
  constructor(voice, hz, level, at, frames, rate) {
    const lines = spectrum(voice, hz, rate);
    const gain = voice.level * level * Math.SQRT2 * evened(voice, hz, rate);
    this.at = at;
    this.n = 0;
    const blown = voice.decayS === Infinity;
    this.length = frames + (blown ? 0 : voice.releaseS * rate);
    this.attack = Math.max(2, Math.min(voice.attackS * rate, this.length * 0.3));
    this.release = Math.max(2, Math.min(voice.releaseS * rate, this.length * 0.4));
    this.coefficient = new Float64Array(lines.length);
    this.squared = new Float64Array(lines.length);
    this.y1 = new Float64Array(lines.length);
    this.y2 = new Float64Array(lines.length);
    lines.forEach(({ k, hz: f, strength }, i) => {
      const w = (2 * Math.PI * f) / rate;
      const own = voice.decayS * (440 / hz) ** 0.5;
      const r = blown ? 1 : Math.exp(-(1 + voice.damping * (k - 1)) / (own * rate));
      // Schroeder's phases keep the peak of many partials low
      const phase = (Math.PI * (k - 1) * k) / lines.length;
      const amplitude = gain * strength;
      this.coefficient[i] = 2 * r * Math.cos(w);
      this.squared[i] = r * r;
      this.y1[i] = (amplitude / r) * Math.sin(phase - w);
      this.y2[i] = (amplitude / (r * r)) * Math.sin(phase - 2 * w);
    });
  }

  /** End within some milliseconds, from frame n of the note on. */
  fade(/** @type {number} */ frames) {
    this.length = Math.min(this.length, this.n + frames);
    this.release = Math.min(this.release, frames);
  }

  envelope(/** @type {number} */ n) {
    let gain = 1;
    if (n < this.attack) gain = 0.5 - 0.5 * Math.cos((Math.PI * n) / this.attack);
    const left = this.length - n;
    if (left < this.release) gain *= 0.5 - 0.5 * Math.cos((Math.PI * Math.max(0, left)) / this.release);
    return gain;
  }

  /** @param {Float32Array} out @param {Float64Array} scratch @param {number} start frame of the block */
  render(out, scratch, start) {
    const offset = Math.max(0, this.at - start);
    if (offset >= out.length) return true;
    scratch.fill(0);
    for (let i = 0; i < this.coefficient.length; i++) {
      const c = this.coefficient[i];
      const s = this.squared[i];
      let a = this.y1[i];
      let b = this.y2[i];
      for (let j = offset; j < out.length; j++) {
        const y = c * a - s * b;
        b = a;
        a = y;
        scratch[j] += y;
      }
      this.y1[i] = a;
      this.y2[i] = b;
    }
    for (let j = offset; j < out.length; j++) out[j] += scratch[j] * this.envelope(this.n++);
    return this.n < this.length;
  }
}

const CLICK_S = 0.03;
const CLICK_DECAY_S = 0.006;

/** The house's click: a cosine, so that its first sample is its loudest and can be placed. */
export class Click {
  /** @param {boolean} accent @param {number} level @param {number} at @param {number} rate */
  constructor(accent, level, at, rate) {
    this.at = at;
    this.n = 0;
    this.step = (2 * Math.PI * (accent ? 1500 : 1000)) / rate;
    this.level = 0.4 * level * (accent ? 1 : 0.7);
    this.length = CLICK_S * rate;
    this.decay = CLICK_DECAY_S * rate;
  }

  fade() {}

  /** @param {Float32Array} out @param {Float64Array} _scratch @param {number} start */
  render(out, _scratch, start) {
    for (let j = Math.max(0, this.at - start); j < out.length && this.n < this.length; j++, this.n++) {
      out[j] += this.level * Math.cos(this.step * this.n) * Math.exp(-this.n / this.decay);
    }
    return this.n < this.length;
  }
}
