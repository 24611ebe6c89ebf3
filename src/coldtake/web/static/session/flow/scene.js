// @ts-check
// What the player sees now, and what time alone makes happen. Everything follows from the events,
// the time of day and a small context; deadlines are absolute, so that a reload, a sleeping laptop
// or a late tick never stretches a slot.

/** @import {Session, Place, SlotRun, Scene, Context, Happening} from "../model.js" */

export const AWAY_MS = 20_000; // nobody was looking for this long: wait for the player
export const OPENING_MS = 30_000; // so long the first intention waits for words
export const INTENTION_MS = 15_000; // an intention that nobody writes is skipped
export const TYPING_MS = 20_000; // words begun and left are taken as they stand
export const COLD_LINGER_MS = 6_000; // after the one answer of a cold slot, to take it back
export const BREAK_LEAST_MS = 180_000; // the design's least break; common practice, no source
const REST_LEAST_S = 30; // less is not worth coming back to
const SLOT_LEAST_S = 60;
const STOPPED_S = 120;
const GAP_MOST_S = 30; // writing an intention shortens the slot by no more than this

/** @type {Context} */
export const CALM = {
  quietS: 20,
  coldSinceMs: null,
  typedMs: 0,
  held: false,
  busy: false,
  freeSinceMs: 0,
};

/** @param {Session} session @param {string} slotId @returns {Place | undefined} */
export const placeOf = (session, slotId) => session.places.find((p) => p.slot.id === slotId);

/** The slot that follows the last one played; null when nothing is left. */
export function nextPlace(/** @type {Session} */ session) {
  const last = session.runs.at(-1);
  const index = last ? session.places.findIndex((p) => p.slot.id === last.slotId) : -1;
  return session.places[index + 1] ?? null;
}

/** Seconds that a run left over (negative: overran). */
const leftS = (/** @type {SlotRun} */ run) =>
  run.endedMs === null ? 0 : run.plannedS - (run.endedMs - run.startedMs) / 1000;

/**
 * Seconds of this period that were planned and not used by `atMs`; negative when more were used.
 * The next work slot takes them, so that no minute vanishes and no break moves.
 * @param {Session} session @param {Place} next @param {number} atMs @returns {number}
 */
export function carryS(session, next, atMs) {
  let carry = 0;
  /** @type {SlotRun | null} */
  let last = null;
  for (const run of session.runs) {
    const place = placeOf(session, run.slotId);
    if (place?.period !== next.period) continue;
    if (last) carry -= gapS(last, run.startedMs);
    if (place.slot.kind === "work") carry = 0;
    carry += leftS(run);
    last = run;
  }
  return last ? carry - gapS(last, atMs) : 0;
}

/** Seconds between the end of a run and the start of the next. */
const gapS = (/** @type {SlotRun} */ last, /** @type {number} */ startMs) => {
  const gap = (startMs - (last.endedMs ?? startMs)) / 1000;
  return gap > STOPPED_S ? 0 : Math.min(GAP_MOST_S, gap); // a stopped clock is not made up for
};

/** Seconds that a slot gets when it starts at `atMs`: never more than the longest slot. */
export function plannedS(
  /** @type {Session} */ session,
  /** @type {Place} */ place,
  /** @type {number} */ atMs,
) {
  const own = place.slot.minutes * 60;
  if (place.slot.kind === "cold") return own;
  const most = Math.max(own, session.plan.rules.slot_most_min * 60);
  return Math.max(SLOT_LEAST_S, Math.min(most, Math.round(own + carryS(session, place, atMs))));
}

/** @param {Session | null} session @param {number} now @param {Context} context @returns {Scene} */
export function scene(session, now, context) {
  if (!session) return { screen: "start" };
  if (session.endedMs !== null) return { screen: "end" };
  const opening = session.intentions.get("");
  if (!opening) return openingScene(session, now, context);
  const run = session.runs.at(-1);
  if (run?.endedMs === null) return slotScene(session, run, context);
  const pause = session.breaks.find((b) => b.endedMs === null);
  if (pause) {
    const endsMs = pause.startedMs + pause.plannedS * 1000;
    return { screen: "break", run: pause, endsMs };
  }
  if (!run && now < opening.atMs + context.quietS * 1000) {
    return { screen: "quiet", sinceMs: opening.atMs, endsMs: opening.atMs + context.quietS * 1000 };
  }
  return betweenScene(session, now, context);
}

/** The first intention: goes on by itself, unless the page was left meanwhile. */
function openingScene(
  /** @type {Session} */ session,
  /** @type {number} */ now,
  /** @type {Context} */ context,
) {
  const endsMs = Math.max(session.startedMs + OPENING_MS, context.typedMs + TYPING_MS);
  const left = now > endsMs + AWAY_MS;
  const scene = { screen: /** @type {const} */ ("intention"), place: null };
  return { ...scene, sinceMs: session.startedMs, endsMs: left ? null : endsMs };
}

/** @param {Session} session @param {SlotRun} run @param {Context} context @returns {Scene} */
function slotScene(session, run, context) {
  const place = placeOf(session, run.slotId) ?? session.places[0];
  const endsMs = run.startedMs + run.plannedS * 1000;
  const since = place.slot.kind === "cold" ? context.coldSinceMs : null;
  if (since === null) return { screen: "slot", place, run, endsMs, coldDone: false };
  const soon = Math.min(endsMs, since + COLD_LINGER_MS);
  return { screen: "slot", place, run, endsMs: soon, coldDone: true };
}

/** @param {Session} session @param {number} now @param {Context} context @returns {Scene} */
function betweenScene(session, now, context) {
  const next = nextPlace(session);
  const sinceMs = readySince(session, context, next);
  const away = now - sinceMs > AWAY_MS;
  if (next && !context.held && breakDue(session) === null && wantsIntention(session, next)) {
    const afterBreak = isAfterBreak(session, next);
    const endsMs = afterBreak
      ? null
      : Math.max(sinceMs + INTENTION_MS, context.typedMs + TYPING_MS);
    if (endsMs === null || now <= endsMs + AWAY_MS) {
      return { screen: "intention", place: next, sinceMs, endsMs };
    }
  }
  const last = session.runs.at(-1);
  const restS = last?.early ? leftS(last) : 0;
  const rest = last && restS >= REST_LEAST_S ? (placeOf(session, last.slotId) ?? null) : null;
  return { screen: "between", next, rest, restS, sinceMs, auto: !context.held && !away };
}

/** Since when nothing but the next slot was to come. */
function readySince(
  /** @type {Session} */ session,
  /** @type {Context} */ context,
  /** @type {Place | null} */ next,
) {
  const run = session.runs.at(-1);
  const opening = session.intentions.get("");
  return Math.max(
    run ? (run.endedMs ?? 0) : (opening?.atMs ?? 0) + context.quietS * 1000,
    session.breaks.at(-1)?.endedMs ?? 0,
    next ? (session.intentions.get(next.slot.id)?.atMs ?? 0) : 0,
  );
}

/** A break that is over lies between the last slot and this one. */
function isAfterBreak(/** @type {Session} */ session, /** @type {Place} */ next) {
  const last = session.runs.at(-1);
  const before = last && placeOf(session, last.slotId);
  return before !== undefined && before.period < next.period;
}

/** Before each new topic and after each break; not between the short cold takes. */
function wantsIntention(/** @type {Session} */ session, /** @type {Place} */ next) {
  const last = session.runs.at(-1);
  if (!last || session.intentions.has(next.slot.id)) return false;
  if (isAfterBreak(session, next)) return true;
  const before = placeOf(session, last.slotId);
  return next.slot.kind === "work" && before?.slot.topic_id !== next.slot.topic_id;
}

/** A break is due: the next slot lies in a later period and no break has been made. */
function breakDue(/** @type {Session} */ session) {
  const next = nextPlace(session);
  const last = session.runs.at(-1);
  const before = last && placeOf(session, last.slotId);
  if (!next || !before || next.period <= before.period) return null;
  return session.breaks.some((b) => b.afterPeriod === before.period) ? null : before.period;
}

/**
 * The next thing that time makes happen by `now`; call again until there is none.
 * @param {Session | null} session
 * @param {number} now
 * @param {Context} context
 * @returns {Happening | null}
 */
export function due(session, now, context) {
  const found = session && dueIn(session, now, context);
  return found ? { ...found, byTime: true } : null;
}

/** @param {Session} session @param {number} now @param {Context} context @returns {Happening | null} */
function dueIn(session, now, context) {
  const seen = scene(session, now, context);
  const session_id = session.id;
  switch (seen.screen) {
    case "slot":
      if (now < seen.endsMs || context.busy) return null;
      return slotEnd(session, seen.run, Math.max(seen.endsMs, context.freeSinceMs), false);
    case "break":
      if (now < seen.endsMs) return null;
      return {
        atMs: seen.endsMs,
        data: { kind: "break_ended", session_id, after_period: seen.run.afterPeriod },
      };
    case "intention":
    case "between":
      return dueBetween(session, now, context, seen);
    default:
      return null;
  }
}

/**
 * @param {Session} session
 * @param {number} now
 * @param {Context} context
 * @param {Extract<Scene, {screen: "intention" | "between"}>} seen
 * @returns {Happening | null}
 */
function dueBetween(session, now, context, seen) {
  const session_id = session.id;
  if (seen.screen === "intention" && seen.place === null) return skipOpening(session, now, seen);
  const after_period = context.held ? null : breakDue(session);
  if (after_period !== null) {
    const planned_s = session.plan.rules.break_min * 60;
    const atMs = session.runs.at(-1)?.endedMs ?? now;
    return { atMs, data: { kind: "break_started", session_id, after_period, planned_s } };
  }
  if (seen.screen === "intention") {
    if (seen.endsMs === null || seen.place === null || now < seen.endsMs) return null;
    const slot_id = seen.place.slot.id;
    return { atMs: seen.endsMs, data: { kind: "intention_set", session_id, slot_id, words: "" } };
  }
  if (seen.next === null) return context.held ? null : sessionEnd(session, seen.sinceMs);
  return seen.auto ? slotStart(session, seen.next, seen.sinceMs) : null;
}

/**
 * @param {Session} session @param {number} now
 * @param {Extract<Scene, {screen: "intention"}>} seen @returns {Happening | null}
 */
function skipOpening(session, now, seen) {
  if (seen.endsMs === null || now < seen.endsMs) return null;
  const data = { kind: /** @type {const} */ ("intention_set"), session_id: session.id };
  return { atMs: seen.endsMs, data: { ...data, slot_id: null, words: "" } };
}

/** @param {Session} session @param {number} atMs @param {string} [note] @returns {Happening} */
export function sessionEnd(session, atMs, note = "") {
  const played = new Set(session.runs.map((r) => r.slotId));
  const early = session.places.some((p) => !p.added && !played.has(p.slot.id));
  return { atMs, data: { kind: "session_ended", session_id: session.id, note, early } };
}

/**
 * @param {Session} session
 * @param {Place} place
 * @param {number} atMs
 * @param {number} [seconds] given when the rest of a slot is taken up again
 * @returns {Happening}
 */
export function slotStart(session, place, atMs, seconds) {
  const { id: slot_id, step_id } = place.slot;
  const planned_s = seconds ?? plannedS(session, place, atMs);
  const data = { kind: /** @type {const} */ ("slot_started"), session_id: session.id };
  return { atMs, data: { ...data, slot_id, step_id, planned_s } };
}

/**
 * @param {Session} session
 * @param {SlotRun} run
 * @param {number} atMs
 * @param {boolean} early the player moved on
 * @returns {Happening}
 */
export function slotEnd(session, run, atMs, early) {
  const played_s = Math.max(0, (atMs - run.startedMs) / 1000);
  const data = { kind: /** @type {const} */ ("slot_ended"), session_id: session.id };
  return { atMs, data: { ...data, slot_id: run.slotId, step_id: run.stepId, played_s, early } };
}
