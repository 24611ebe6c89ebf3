// @ts-check
// When a take starts by itself, so that both hands stay on the instrument. A cold slot: once the
// player had time to read and breathe. A slot for work: work first; the last part of the slot, as
// long as its question needs, is for takes. After a yes that was not yet enough the next follows at
// once; after a no there is time to think. Nothing starts that would run over the slot's end.

/** @import {Slot, StepInfo, TryMade} from "../model.js" */
/** @import {ClickChoice} from "../audio/take.js" */
import { countIn } from "../audio/clicks.js";
import { TAIL_S } from "../audio/take-end.js";

// Common practice, no source.
export const READY_MS = 15_000; // to read the question and lift the instrument
export const AGAIN_MS = 6_000; // after a yes
export const THINK_MS = 15_000; // after a no
export const CALL_MS = 3_000; // before a take that starts by itself a soft call is heard
const HEAR_S = 5; // from the last note to the verdict
const TRIES_LEAST = 3;
const WORK_LEAST = 1 / 3; // of a slot, before takes start by themselves
const UNHEARD_MOST = 2; // "cannot tell" in a row: something is wrong, the player must look

/**
 * @typedef {object} ChainView
 * @property {Slot} slot
 * @property {StepInfo} step
 * @property {ClickChoice} click
 * @property {number} startedMs of the slot's run
 * @property {number} endsMs
 * @property {TryMade[]} tries of this slot, oldest first
 * @property {boolean} met the question is answered, by what was played in this slot
 * @property {number} freeMs since when no take has been in the way
 * @property {boolean} stopped the player said: not yet
 */
/** @typedef {{state: "none" | "met" | "stopped" | "unheard" | "late" | "waits", atMs: number}} Chain */

/** Seconds that a take fills, count-in and verdict included; null when its length is not known. */
export function takeLengthS(/** @type {StepInfo} */ step, /** @type {ClickChoice} */ click) {
  if (step.passage_beats === null) return null;
  const clickS = 60 / click.bpm;
  const shape = {
    beat_unit_beats: click.unit,
    beats_per_bar: click.perBar,
    count_in_bars: click.bars,
  };
  const lead = click.on ? countIn(shape, step.pickup_beats).leadClicks * clickS : 0;
  return lead + (step.passage_beats * clickS) / click.unit + TAIL_S + HEAR_S;
}

/** From when on takes start by themselves in a slot for work. */
export function testsFromMs(/** @type {ChainView} */ view, /** @type {number} */ lengthS) {
  const tries = Math.max(TRIES_LEAST, 2 * view.step.times.wanted);
  const needMs = tries * (lengthS * 1000 + (AGAIN_MS + THINK_MS) / 2);
  const workMs = (view.endsMs - view.startedMs) * WORK_LEAST;
  return Math.max(view.startedMs + workMs, view.startedMs + READY_MS, view.endsMs - needMs);
}

const NEVER = Infinity;

/** @param {ChainView} view @returns {Chain} */
export function chain(view) {
  const lengthS = takeLengthS(view.step, view.click);
  const { slot, tries } = view;
  if (lengthS === null || !view.step.heard) return { state: "none", atMs: NEVER };
  if (slot.kind === "cold" && tries.length > 0) return { state: "none", atMs: NEVER };
  if (view.met) return { state: "met", atMs: NEVER };
  if (view.stopped) return { state: "stopped", atMs: NEVER };
  const unheard = tries.slice(-UNHEARD_MOST).filter((t) => t.answer === "cannot_tell").length;
  if (unheard === UNHEARD_MOST) return { state: "unheard", atMs: NEVER };
  const atMs = startsMs(view, lengthS);
  if (atMs + lengthS * 1000 > view.endsMs) return { state: "late", atMs: NEVER };
  return { state: "waits", atMs };
}

/** @param {ChainView} view @param {number} lengthS */
function startsMs(view, lengthS) {
  const { slot, tries, freeMs } = view;
  const last = tries.at(-1);
  if (slot.kind === "cold") return Math.max(view.startedMs, freeMs) + READY_MS;
  if (last?.answer === "yes") return freeMs + AGAIN_MS;
  return Math.max(testsFromMs(view, lengthS), freeMs + THINK_MS);
}
