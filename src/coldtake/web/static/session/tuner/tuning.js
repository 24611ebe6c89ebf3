// @ts-check
// Where a note lies in a tuning. Ratios as in the house's `music/theory/tuning.py`: just intonation of the
// 5-limit, Pythagorean chains of pure fifths; the tonic itself is tempered from A4 (ISO 16:1975).

/** @typedef {"equal" | "just" | "pythagorean"} Temper */
/**
 * @typedef {object} Tuning
 * @property {number} a4 Hz
 * @property {Temper} temper
 * @property {number} tonic pitch class, 0 is C
 */

const A4 = 69; // MIDI number
const JUST = [1, 16 / 15, 9 / 8, 6 / 5, 5 / 4, 4 / 3, 45 / 32, 3 / 2, 8 / 5, 5 / 3, 9 / 5, 15 / 8];
const PURE_FIFTHS = [
  1, 256 / 243, 9 / 8, 32 / 27, 81 / 64, 4 / 3, 729 / 512, 3 / 2, 128 / 81, 27 / 16, 16 / 9, 243 / 128,
];
export const NAMES = ["C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "A♭", "A", "B♭", "B"];
export const A4_LEAST = 392;
export const A4_MOST = 466;

/** Cents of a pitch class above the tonic. @param {Temper} temper @param {number} steps 0..11 */
export function centsAbove(temper, steps) {
  if (temper === "equal") return 100 * steps;
  return 1200 * Math.log2((temper === "just" ? JUST : PURE_FIFTHS)[steps]);
}

/** Fractional MIDI number of a note in a tuning, A4 = 69. @param {number} pitch @param {Tuning} tuning */
export function tunedPitch(pitch, { temper, tonic }) {
  const steps = (((pitch - tonic) % 12) + 12) % 12;
  return pitch - steps + centsAbove(temper, steps) / 100;
}

/** @param {number} pitch @param {Tuning} tuning @returns {number} Hz */
export const frequency = (pitch, tuning) =>
  tuning.a4 * 2 ** ((tunedPitch(pitch, tuning) - A4) / 12);

/**
 * The note that a frequency is nearest to, and how far it lies above it.
 * @param {number} hz @param {Tuning} tuning
 * @returns {{pitch: number, cents: number}}
 */
export function nearest(hz, tuning) {
  const heard = A4 + 12 * Math.log2(hz / tuning.a4);
  const around = [-1, 0, 1].map((step) => Math.round(heard) + step);
  const off = (/** @type {number} */ p) => heard - tunedPitch(p, tuning);
  const pitch = around.reduce((a, b) => (Math.abs(off(b)) < Math.abs(off(a)) ? b : a));
  return { pitch, cents: 100 * off(pitch) };
}

/** Name and octave of a note, as an instrument in `shift` semitones above concert pitch reads it. */
export function named(/** @type {number} */ pitch, shift = 0) {
  const read = pitch + shift;
  return { name: NAMES[((read % 12) + 12) % 12], octave: Math.floor(read / 12) - 1 };
}
