// @ts-check
// Takes that start by themselves, for the slot that runs: reads `chain.js` against what the desk
// knows now, calls the player softly and begins.

/** @import {Desk} from "./desk.js" */
/** @import {Scene} from "../model.js" */
/** @import {Chain} from "./auto-start.js" */
import { CALL_MS, chain } from "./auto-start.js";
import { answersTo, progress, slotTries } from "./reducer.js";
import { now as timeNow } from "./monotonic-clock.js";

/** @type {Chain} */
const NONE = { state: "none", atMs: Infinity };

export class HandsFree {
  constructor(/** @type {Desk} */ desk) {
    this.desk = desk;
    /** Slots in which the player wants to start takes by key. @type {Set<string>} */
    this.stopped = new Set();
    this.calledMs = 0;
    this.asideMs = 0; // until then a drawer was open: tuner, level, ears
  }

  /** Whether takes may start by themselves at all, here and now. */
  get able() {
    const { desk } = this;
    const on = desk.snapshot?.settings.takes_alone === 1;
    return on && desk.leading && !desk.confirming && desk.sound.canRecord;
  }

  /** @param {Scene} seen @returns {Chain} */
  chain(seen) {
    const { desk } = this;
    const { session } = desk;
    if (seen.screen !== "slot" || seen.coldDone || !session || !this.able) return NONE;
    const { slot } = seen.place;
    const step = desk.step(slot.step_id);
    if (!step || desk.takes.busy || this.inTheWay) return NONE;
    const tries = slotTries(session, slot.id);
    const row = progress(step.times, [...step.answers_before, ...answersTo(session, slot.step_id)]);
    return chain({
      slot,
      step,
      click: desk.clickOf(step, slot.step_id),
      startedMs: seen.run.startedMs,
      endsMs: seen.endsMs,
      tries,
      met: row.met && tries.at(-1)?.answer === "yes",
      freeMs: Math.max(desk.context.freeSinceMs, desk.sound.openedMs, this.asideMs, this.tryMs(tries.at(-1)?.id)),
      stopped: this.stopped.has(slot.id),
    });
  }

  /** A take that still waits for a verdict or for an answer that only the player can give. */
  get inTheWay() {
    const take = this.desk.takes.now;
    if (!take || take.phase === "verdict") return false;
    const untold = take.verdict?.answer === "cannot_tell" || take.failed !== "";
    return this.desk.context.busy || !untold;
  }

  /** When an answer by key was first seen: the next take waits from then on. */
  tryMs(/** @type {string | undefined} */ tryId) {
    return this.desk.session?.tries.find((t) => t.id === tryId && t.judge === "player")?.atMs ?? 0;
  }

  /** Calls, and begins what is due. */
  async advance() {
    const seen = this.desk.scene();
    const { state, atMs } = this.chain(seen);
    if (state !== "waits") return;
    const now = timeNow();
    if (atMs - now <= 2 * CALL_MS && this.calledMs !== atMs) {
      this.calledMs = atMs;
      this.desk.sound.callAt(atMs - CALL_MS);
    }
    if (now >= atMs) await this.desk.take(true);
  }

  /** The player's "not yet": what is announced or counted in does not come; his key starts takes. */
  notYet() {
    const seen = this.desk.scene();
    if (seen.screen !== "slot") return;
    const counted = this.desk.takes.now?.phase === "count_in";
    if (!counted && this.chain(seen).state !== "waits") return;
    this.stopped.add(seen.place.slot.id);
    if (counted) void this.desk.takes.cancel();
    this.desk.changed();
  }

  /** A key has started a take: from here on the next ones may follow again. */
  wanted(/** @type {string} */ slotId) {
    this.stopped.delete(slotId);
  }
}
