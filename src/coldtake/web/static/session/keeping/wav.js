// @ts-check
// Samples to a WAV file: RIFF/WAVE, mono, 24-bit PCM (Multimedia Programming Interface and Data
// Specifications 1.0, IBM and Microsoft, 1991). 24 bits hold more than any microphone gives.

const HEADER = 44;
const BYTES = 3;
const FULL = 0x7fffff;

/**
 * Puts batches where their frames say. Lost frames stay silent, a batch that overlaps wins.
 * @param {{frame: number, samples: Float32Array}[]} batches at least one
 * @returns {Float32Array} from the earliest frame on
 */
export function placed(batches) {
  const first = Math.min(...batches.map((b) => b.frame));
  const end = Math.max(...batches.map((b) => b.frame + b.samples.length));
  const whole = new Float32Array(end - first);
  for (const { frame, samples } of batches) whole.set(samples, frame - first);
  return whole;
}

/**
 * Frames that no batch brought, from `from` on (of the first batch when not given).
 * @param {{frame: number, samples: {length: number}}[]} batches @param {number} [from]
 */
export function lostFrames(batches, from) {
  const sorted = [...batches].sort((a, b) => a.frame - b.frame);
  let lost = sorted.length && from !== undefined ? Math.max(0, sorted[0].frame - from) : 0;
  for (let i = 1; i < sorted.length; i++) {
    lost += Math.max(0, sorted[i].frame - sorted[i - 1].frame - sorted[i - 1].samples.length);
  }
  return lost;
}

/**
 * @param {Float32Array} samples -1..1; beyond is clipped
 * @param {number} rate frames a second
 * @returns {ArrayBuffer}
 */
export function encodeWav(samples, rate) {
  const size = samples.length * BYTES;
  const view = new DataView(new ArrayBuffer(HEADER + size + (size % 2)));
  const text = (/** @type {number} */ at, /** @type {string} */ word) =>
    [...word].forEach((letter, i) => view.setUint8(at + i, letter.charCodeAt(0)));
  text(0, "RIFF");
  view.setUint32(4, view.byteLength - 8, true);
  text(8, "WAVEfmt ");
  view.setUint32(16, 16, true);
  view.setUint16(20, 1, true); // PCM
  view.setUint16(22, 1, true); // one channel
  view.setUint32(24, rate, true);
  view.setUint32(28, rate * BYTES, true);
  view.setUint16(32, BYTES, true);
  view.setUint16(34, BYTES * 8, true);
  text(36, "data");
  view.setUint32(40, size, true);
  samples.forEach((x, i) => {
    const value = Math.round(Math.max(-1, Math.min(1, x)) * FULL);
    view.setInt16(HEADER + i * BYTES + 1, value >> 8, true);
    view.setUint8(HEADER + i * BYTES, value & 0xff);
  });
  return view.buffer;
}
