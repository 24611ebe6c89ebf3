// @ts-check
// How the session follows from its events; the same events, in any order and however often they
// come, give the same session. Mirrors the server's `domain.history.projection` for what the page shows.

/** @import {Event, Data, Session, Place, TryMade} from "../model.js" */

/** Events in the order in which they happened, each once: by instant, then by id. */
export function inOrder(/** @type {Iterable<Event>} */ events) {
  const unique = new Map([...events].map((event) => [event.id, event]));
  return [...unique.values()].sort(
    (a, b) =>
      Date.parse(a.at) - Date.parse(b.at) ||
      beyondMs(a.at) - beyondMs(b.at) ||
      (a.id < b.id ? -1 : 1),
  );
}

/** Microseconds beyond the millisecond, which a `Date` does not know. */
const beyondMs = (/** @type {string} */ at) =>
  Number((/\.\d{3}(\d{1,3})/.exec(at)?.[1] ?? "").padEnd(3, "0"));

/** @param {Iterable<Event>} events @returns {Session | null} */
export function fold(events) {
  /** @type {Session | null} */
  let session = null;
  for (const event of inOrder(events)) {
    if (event.data.kind === "session_started") session ??= begun(event, event.data);
    else if (session) apply(session, Date.parse(event.at), event.data);
  }
  return session;
}

/**
 * @param {Event} event
 * @param {Extract<Data, {kind: "session_started"}>} data
 * @returns {Session}
 */
function begun(event, data) {
  return {
    id: data.session_id,
    day: event.day,
    plan: data.plan,
    startedMs: Date.parse(event.at),
    endedMs: null,
    early: false,
    note: "",
    places: placesOf(data.plan),
    intentions: new Map(),
    runs: [],
    breaks: [],
    tries: [],
    verdicts: new Map(),
  };
}

/** @param {import("../model.js").Plan} plan @returns {Place[]} slots in playing order */
export function placesOf(plan) {
  return plan.periods.flatMap(({ slots }, period) =>
    slots.map((slot) => ({ slot, period, added: false })),
  );
}

/** @param {Session} session @param {number} atMs @param {Data} data */
function apply(session, atMs, data) {
  if (!belongs(session, data)) return;
  switch (data.kind) {
    case "intention_set":
      session.intentions.set(data.slot_id ?? "", { words: data.words, atMs });
      break;
    case "slot_started":
      session.runs.push({
        slotId: data.slot_id,
        stepId: data.step_id,
        startedMs: atMs,
        plannedS: data.planned_s,
        endedMs: null,
        playedS: 0,
        early: false,
      });
      break;
    case "slot_ended": {
      const run = session.runs.findLast((r) => r.slotId === data.slot_id && r.endedMs === null);
      if (run) Object.assign(run, { endedMs: atMs, playedS: data.played_s, early: data.early });
      break;
    }
    case "slot_added":
      insert(session, data.slot);
      break;
    case "break_started":
      session.breaks.push({
        afterPeriod: data.after_period,
        startedMs: atMs,
        plannedS: data.planned_s,
        endedMs: null,
      });
      break;
    case "break_ended":
      for (const run of session.breaks)
        if (run.afterPeriod === data.after_period) run.endedMs ??= atMs;
      break;
    case "try_answered":
      answer(session, atMs, data);
      break;
    case "answer_taken_back":
      session.tries = session.tries.filter((t) => t.id !== data.try_id);
      break;
    case "take_judged":
      session.verdicts.set(data.take_id, data.verdict);
      break;
    case "session_ended":
      if (session.endedMs === null) Object.assign(session, { endedMs: atMs, early: data.early });
      session.note = data.note || session.note;
  }
}

/** Verdicts and answers taken back name no session; a try without one was no try of a session. */
const belongs = (/** @type {Session} */ session, /** @type {Data} */ data) =>
  data.kind === "answer_taken_back" ||
  data.kind === "take_judged" ||
  data.session_id === session.id;

/** A spare slot comes straight after the slot that made room for it. */
function insert(/** @type {Session} */ session, /** @type {import("../model.js").Slot} */ slot) {
  if (session.places.some((p) => p.slot.id === slot.id)) return;
  const last = session.runs.at(-1);
  const index = session.places.findIndex((p) => p.slot.id === last?.slotId);
  const period = session.places[Math.max(index, 0)]?.period ?? 0;
  session.places.splice(index + 1, 0, { slot, period, added: true });
}

/**
 * Both answers to one try are kept; the player's counts.
 * @param {Session} session
 * @param {number} atMs
 * @param {Extract<Data, {kind: "try_answered"}>} data
 */
function answer(session, atMs, data) {
  const known = session.tries.find((t) => t.id === data.try_id);
  if (!known) {
    session.tries.push({
      id: data.try_id,
      stepId: data.step_id,
      slotId: data.slot_id ?? null,
      takeId: data.take_id ?? null,
      answer: data.answer,
      judge: data.judge,
      heard: null,
      atMs,
    });
  } else if (data.judge === "player") {
    if (known.judge === "tool") known.heard = known.answer;
    Object.assign(known, { answer: data.answer, judge: "player" });
  } else if (known.judge === "player") known.heard = data.answer;
  else known.answer = data.answer;
}

/** Tries of one slot, oldest first. */
export function slotTries(/** @type {Session} */ session, /** @type {string} */ slotId) {
  return session.tries.filter((t) => t.slotId === slotId);
}

/**
 * How far "k in a row" or "k of n" has got; a "cannot tell" changes nothing.
 * @param {{wanted: number, among: number | null}} times
 * @param {boolean[]} answers oldest first
 * @returns {{have: number, wanted: number, met: boolean}}
 */
export function progress(times, answers) {
  const run = answers.length - 1 - answers.lastIndexOf(false);
  const have = times.among ? answers.slice(-times.among).filter(Boolean).length : run;
  return { have: Math.min(have, times.wanted), wanted: times.wanted, met: have >= times.wanted };
}

/** Answers to one step in this session as booleans, oldest first. */
export function answersTo(/** @type {Session} */ session, /** @type {string} */ stepId) {
  return session.tries
    .filter((t) => t.stepId === stepId && t.answer !== "cannot_tell")
    .map((t) => t.answer === "yes");
}
