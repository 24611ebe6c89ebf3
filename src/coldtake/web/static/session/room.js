// @ts-check
// How much this browser can still keep, in minutes of takes. Said before it runs out: under half an
// hour as a warning, under one longest take as a refusal to record (the player answers instead).
// A take is at most five minutes, and leaves the device when the server has it.

import { LONGEST_S } from "./take-end.js";

const BYTES = 4; // of a sample as it is kept here
const WARN_MIN = 30;
const SOME_S = 30; // less than this much sound is not worth beginning with

/** Minutes of one-channel sound that so many bytes hold. */
export const minutesOf = (/** @type {number} */ bytes, /** @type {number} */ rate) =>
  bytes / (rate * BYTES * 60);

export class Room {
  constructor() {
    this.bytes = Infinity;
  }

  /** Asks the browser. Never throws; a browser that does not tell has room. */
  async check() {
    const told = await navigator.storage?.estimate?.().catch(() => null);
    if (told?.quota) this.bytes = told.quota - (told.usage ?? 0);
  }

  /** Whether a take may be recorded at all. */
  hasTake(/** @type {number} */ rate) {
    return minutesOf(this.bytes, rate) * 60 >= SOME_S;
  }

  /** What to tell the player; empty when there is plenty. */
  words(/** @type {number} */ rate) {
    const minutes = minutesOf(this.bytes, rate);
    if (!this.hasTake(rate)) return "This device is full: takes are not recorded until there is room.";
    if (minutes >= WARN_MIN) return "";
    const few = minutes < LONGEST_S / 60 ? " A long take may not fit." : "";
    const count = Math.max(1, Math.floor(minutes));
    return `This device has room for about ${count} minute${count === 1 ? "" : "s"} of takes.${few}`;
  }
}
