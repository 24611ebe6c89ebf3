// @ts-check
// When a take ends by itself: after the passage's length and a tail, or when the music has stopped.
// Levels are root mean squares, 0..1; times are seconds since the music was expected to start.

export const TAIL_S = 1.0;
export const CLIPPED = 0.985;
const QUIET_TAIL_S = 0.6;
const STOPPED_S = 3;
export const LONGEST_S = 300;
const SLOWEST = 2.5; // so many times the expected length, plus ten seconds
const LEAST_LEVEL = 0.002; // about -54 dB below full scale
const ABOVE_NOISE = 4; // 12 dB
const BELOW_LOUDEST = 0.02; // 34 dB under the loudest so far is silence

export const LEAST_LEVEL_DB = -60;

/** Level in dB below full scale, -60 to 0. */
export const levelDb = (/** @type {number} */ level) =>
  Math.min(0, Math.max(LEAST_LEVEL_DB, 20 * Math.log10(Math.max(level, 1e-6))));

export class TakeEnd {
  /**
   * @param {number | null} expectedS length of the passage at the tempo, null when not known
   * @param {number} longestRestS longest written silence inside it
   * @param {number} noise level measured before the take
   */
  constructor(expectedS, longestRestS, noise) {
    this.expectedS = expectedS;
    this.stoppedS = STOPPED_S + longestRestS;
    this.noise = noise;
    this.loudest = 0;
    this.lastSoundS = -Infinity;
  }

  /** @param {number} level @param {number} atS */
  hear(level, atS) {
    this.loudest = Math.max(this.loudest, level);
    if (level > this.threshold) this.lastSoundS = atS;
  }

  /** Anything louder than the room. */
  get heard() {
    return this.lastSoundS > -Infinity;
  }

  get threshold() {
    return Math.max(LEAST_LEVEL, this.noise * ABOVE_NOISE, this.loudest * BELOW_LOUDEST);
  }

  /** @param {number} atS @returns {boolean} */
  isOver(atS) {
    const { heard } = this;
    const quietS = atS - this.lastSoundS;
    if (atS >= LONGEST_S) return true;
    if (this.expectedS === null) return heard && quietS >= this.stoppedS;
    if (atS >= this.expectedS * SLOWEST + 10) return true;
    if (heard && quietS >= this.stoppedS) return true;
    return atS >= this.expectedS + TAIL_S && (!heard || quietS >= QUIET_TAIL_S);
  }
}

/**
 * What to say about the level of a take, in one sentence; empty when it was right.
 * @param {number} loudest loudest root mean square of 0.1 s @param {number} peak
 * @param {number} noise
 */
export function levelAdvice(loudest, peak, noise) {
  if (peak >= CLIPPED) return "Too loud for the microphone. Move it away or turn it down.";
  if (loudest < LEAST_LEVEL) return "No sound arrived. Check the microphone.";
  if (loudest < noise * ABOVE_NOISE) return "The room is nearly as loud as you. Go closer to the microphone.";
  if (loudest < 0.01) return "Very quiet. Move the microphone closer.";
  return "";
}
