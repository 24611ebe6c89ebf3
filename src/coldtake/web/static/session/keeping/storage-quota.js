// @ts-check
// How much sound may still wait here for the server, in minutes. Said before it runs out: under half
// an hour as a warning, under half a minute as a refusal to record (the player answers instead). The
// limit is our own, an hour: browsers do not tell how much room there really is (Chromium answers
// ten gigabytes whatever the disk has), and less where one tells less. A take is at most five
// minutes, and its sound leaves the device when the server has it.

/** @import {SessionStore} from "./store.js" */
import { LONGEST_S } from "../audio/take-end.js";

export const LIMIT_MIN = 60;
const BATCH_S = 0.1; // of sound in one piece of the store, as `capture-worklet.js` cuts it
const BYTES = 4; // of a sample as it is kept here
const WARN_MIN = 30;
const SOME_S = 30; // less than this much sound is not worth beginning with

/** Minutes of one-channel sound that so many bytes hold. */
export const minutesOf = (/** @type {number} */ bytes, /** @type {number} */ rate) =>
  bytes / (rate * BYTES * 60);

export class StorageQuota {
  constructor() {
    this.bytes = Infinity;
    this.waitingMin = 0;
  }

  /** Asks the browser and our own store. Never throws; a browser that does not tell has room. */
  async check(/** @type {SessionStore} */ store) {
    const told = await navigator.storage?.estimate?.().catch(() => null);
    if (told?.quota) this.bytes = told.quota - (told.usage ?? 0);
    this.waitingMin = (BATCH_S * (await store.countBatches().catch(() => 0))) / 60;
  }

  /** Minutes of takes that may still come. */
  minutes(/** @type {number} */ rate) {
    return Math.min(LIMIT_MIN - this.waitingMin, minutesOf(this.bytes, rate));
  }

  /** Whether a take may be recorded at all. */
  hasTake(/** @type {number} */ rate) {
    return this.minutes(rate) * 60 >= SOME_S;
  }

  /** What to tell the player; empty when there is plenty. */
  words(/** @type {number} */ rate) {
    const minutes = this.minutes(rate);
    if (!this.hasTake(rate)) return "This device is full. Takes are not recorded. Free some space.";
    if (minutes >= WARN_MIN) return "";
    const few = minutes < LONGEST_S / 60 ? " A long take may not fit." : "";
    const count = Math.max(1, Math.floor(minutes));
    return `This device has space for about ${count} min of takes.${few}`;
  }
}
