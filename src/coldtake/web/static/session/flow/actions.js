// @ts-check
// What the player does, as happenings to write down. One place for "no key does two dangerous
// things": an action that does not fit the scene gives nothing.

/** @import {Session, Scene, Happening, Answer} from "../model.js" */
import {
  BREAK_LEAST_MS,
  sessionEnd,
  slotEnd,
  slotStart,
  nextPlace,
  placeOf,
} from "./scene.js";
import { slotTries } from "./reducer.js";
import { left } from "./dates.js";

/** @param {Session} session @param {Scene} seen @param {string} words @param {number} now */
export function intend(session, seen, words, now) {
  if (seen.screen !== "intention") return [];
  const slot_id = seen.place?.slot.id ?? null;
  return happen(now, { kind: "intention_set", session_id: session.id, slot_id, words });
}

/** The quiet moment is skipped, a stopped slot taken up, a break that was long enough ended. */
export function goOn(
  /** @type {Session} */ session,
  /** @type {Scene} */ seen,
  /** @type {number} */ now,
) {
  if (seen.screen === "quiet") return startNext(session, now);
  if (seen.screen === "between") {
    if (seen.rest) return [slotStart(session, seen.rest, now, Math.round(seen.restS))];
    return startNext(session, now);
  }
  if (seen.screen === "break" && now >= seen.run.startedMs + BREAK_LEAST_MS) {
    const after_period = seen.run.afterPeriod;
    return happen(now, { kind: "break_ended", session_id: session.id, after_period });
  }
  return [];
}

/** On to the next slot: out of the running one, or past the rest of a stopped one. */
export function moveOn(
  /** @type {Session} */ session,
  /** @type {Scene} */ seen,
  /** @type {number} */ now,
) {
  if (seen.screen === "slot") return [slotEnd(session, seen.run, now, true)];
  return seen.screen === "between" ? startNext(session, now) : [];
}

/** @param {Session} session @param {number} now @returns {Happening[]} */
function startNext(session, now) {
  const next = nextPlace(session);
  return next ? [slotStart(session, next, now)] : [sessionEnd(session, now)];
}

/** A spare slot that fits into the rest of the running one; null when there is none. */
export function spareFor(
  /** @type {Session} */ session,
  /** @type {Scene} */ seen,
  /** @type {number} */ now,
) {
  if (seen.screen !== "slot") return null;
  const restS = (seen.endsMs - now) / 1000;
  if (restS < session.plan.rules.slot_least_min * 60) return null;
  const free = session.plan.spare.find(
    (s) => s.step_id !== seen.run.stepId && !placeOf(session, s.id),
  );
  return free ? { ...free, minutes: left(seen.endsMs, now).minutes } : null; // as the page counts
}

/** @param {Session} session @param {Scene} seen @param {number} now @returns {Happening[]} */
export function takeSpare(session, seen, now) {
  const slot = spareFor(session, seen, now);
  if (!slot || seen.screen !== "slot") return [];
  const seconds = Math.round((seen.endsMs - now) / 1000);
  return [
    slotEnd(session, seen.run, now, true),
    { atMs: now, data: { kind: "slot_added", session_id: session.id, slot } },
    slotStart(session, { slot, period: 0, added: true }, now, seconds),
  ];
}

/** The session ends now, as far as it got. */
export function endNow(
  /** @type {Session} */ session,
  /** @type {Scene} */ seen,
  /** @type {number} */ now,
) {
  /** @type {Happening[]} */
  const before = seen.screen === "slot" ? [slotEnd(session, seen.run, now, true)] : [];
  if (seen.screen === "break") {
    const after_period = seen.run.afterPeriod;
    before.push(...happen(now, { kind: "break_ended", session_id: session.id, after_period }));
  }
  return seen.screen === "end" || seen.screen === "start"
    ? []
    : [...before, sessionEnd(session, now)];
}

/**
 * An answer of the player in the running slot; to a take when `takeId` is given. A cold slot has
 * one chance: a second try is not written down.
 * @param {Session} session
 * @param {Scene} seen
 * @param {Answer} answer
 * @param {number} now
 * @param {{tryId: string, takeId?: string | null, tempoBpm?: number | null}} about
 * @returns {Happening[]}
 */
export function answerTry(session, seen, answer, now, about) {
  if (seen.screen !== "slot") return [];
  const { id: slot_id, step_id, kind } = seen.place.slot;
  const tries = slotTries(session, slot_id);
  if (kind === "cold" && tries.some((t) => t.id !== about.tryId)) return [];
  return happen(now, {
    kind: "try_answered",
    try_id: about.tryId,
    step_id,
    answer,
    judge: "player",
    session_id: session.id,
    slot_id,
    take_id: about.takeId ?? null,
    tempo_bpm: about.tempoBpm ?? null,
  });
}

/** The last answer of the running slot is taken back. */
export function takeBack(
  /** @type {Session} */ session,
  /** @type {Scene} */ seen,
  /** @type {number} */ now,
) {
  const last = seen.screen === "slot" ? slotTries(session, seen.run.slotId).at(-1) : undefined;
  return last ? happen(now, { kind: "answer_taken_back", try_id: last.id }) : [];
}

/** @param {number} atMs @param {import("../model.js").Data} data @returns {Happening[]} */
function happen(atMs, data) {
  return [{ atMs, data }];
}

/**
 * Quarter notes a minute at which the click begins: work begins where the goal of the day says,
 * a cold take is played at the tempo that its question asks for.
 * @param {Pick<import("../model.js").StepInfo, "tempo_bpm" | "begin_bpm">} step @param {boolean} cold
 */
export const clickTempo = (step, cold) => (cold ? step.tempo_bpm : (step.begin_bpm ?? step.tempo_bpm));
