// @ts-check
// Holes that the browser itself cuts into what a microphone gives, and fills with exact nothing:
// when its queue runs dry under load, whole blocks come as zeros. A microphone never gives a row of
// exact zeros in the middle of a sound, so such a row, entered and left by a jump, is a hole. Rests
// are left alone: their edges fade, or they are longer than any queue.

const LEAST = 64; // frames of exact zero
const MOST = 8192; // longer silence is silence, whoever made it
const BESIDE = 64; // frames looked at on either side
const LOUD = 0.01; // -40 dB: under it a hole does not matter to a listener
const JUMP = 0.25; // of the loudness beside it

export class Dropouts {
  constructor() {
    this.count = 0;
    this.zeros = 0;
    this.before = 0; // loudest of the frames before the row
    this.edge = 0; // the last frame before the row
    this.first = 0; // the first frame after it
    this.after = 0; // loudest of the frames after it
    this.left = 0; // frames after the row still to be looked at
    this.recent = new Float32Array(BESIDE); // sizes of the latest frames, a ring
    this.at = 0;
  }

  /** Takes in the next samples of an unbroken stream. */
  see(/** @type {Float32Array} */ samples) {
    for (const x of samples) this.one(Math.abs(x));
  }

  one(/** @type {number} */ size) {
    if (this.left > 0) {
      this.after = Math.max(this.after, size);
      if (--this.left === 0) this.weigh();
    }
    if (size === 0) {
      if (this.zeros === 0) this.enter();
      this.zeros += 1;
    } else if (this.zeros > 0) {
      if (this.left === 0 && this.zeros >= LEAST && this.zeros <= MOST) this.leave(size);
      this.zeros = 0;
      this.recent.fill(0);
    }
    if (size > 0) {
      this.at = (this.at + 1) % BESIDE;
      this.recent[this.at] = size;
    }
  }

  enter() {
    if (this.left > 0) return;
    this.before = Math.max(...this.recent);
    this.edge = this.recent[this.at];
  }

  leave(/** @type {number} */ size) {
    this.first = size;
    this.after = size;
    this.left = BESIDE - 1;
  }

  weigh() {
    const loud = this.before > LOUD && this.after > LOUD;
    if (loud && this.edge > JUMP * this.before && this.first > JUMP * this.after) this.count += 1;
  }
}
