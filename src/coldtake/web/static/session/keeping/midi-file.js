// @ts-check
// MIDI messages to a Standard MIDI File 1.0 (MIDI Manufacturers Association, 1988), format 0. A
// quarter is set to one second of 10 000 ticks, so that a tick is a tenth of a millisecond and no
// tempo needs to be known.

const TICKS_PER_MS = 10;
const DIVISION = 10_000;
const SECOND_US = [0x0f, 0x42, 0x40]; // 1 000 000

/** A variable-length quantity. @param {number} value whole, 0 to 0x0FFFFFFF @returns {number[]} */
export function variableLength(value) {
  const bytes = [value & 0x7f];
  for (let rest = value >>> 7; rest > 0; rest >>>= 7) bytes.unshift((rest & 0x7f) | 0x80);
  return bytes;
}

/**
 * @param {number[][]} messages each [milliseconds, status, ...data]; times >= 0
 * @returns {ArrayBuffer}
 */
export function encodeMidi(messages) {
  const track = [0, 0xff, 0x51, 3, ...SECOND_US];
  let last = 0;
  for (const [ms, ...bytes] of [...messages].sort((a, b) => a[0] - b[0])) {
    const tick = Math.round(ms * TICKS_PER_MS);
    track.push(...variableLength(Math.max(0, tick - last)), ...bytes);
    last = tick;
  }
  track.push(0, 0xff, 0x2f, 0);
  const head = [0x4d, 0x54, 0x68, 0x64, 0, 0, 0, 6, 0, 0, 0, 1, DIVISION >> 8, DIVISION & 0xff];
  const size = [24, 16, 8, 0].map((shift) => (track.length >>> shift) & 0xff);
  return Uint8Array.from([...head, 0x4d, 0x54, 0x72, 0x6b, ...size, ...track]).buffer;
}
