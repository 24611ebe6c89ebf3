// @ts-check
// Instants, practice days and how they are written.

/** @import {DaysNear, Event, Plan} from "../model.js" */

const rules = {
  /** When the player did the last thing of a day. @type {Map<string, number>} */
  acted: new Map(),
  /** Start and end of a day's plan. @type {Map<string, [number, number]>} */
  planned: new Map(),
  pauseMs: 0,
  aheadMs: 0,
};

/** What decides the day: what the server knew last. @param {DaysNear | undefined} days */
export function ruleDays(days) {
  rules.pauseMs = (days?.pause_s ?? 0) * 1000;
  rules.aheadMs = (days?.ahead_s ?? 0) * 1000;
  rules.acted = new Map(Object.entries(days?.acted ?? {}).map(([day, at]) => [day, Date.parse(at)]));
  const spans = Object.entries(days?.planned ?? {});
  rules.planned = new Map(spans.map(([day, [from, to]]) => [day, [local(from), local(to)]]));
}

/** An instant by this device's wall clock. */
const local = (/** @type {string} */ text) => new Date(text).getTime();

// As the server's `domain.history.projection.is_act`: these say nothing of the player's being there.
const NO_ACTS = ["take_judged", "answer_taken_back", "session_ended"];

/** The page knows of something that the player did: it shows that their evening goes on. */
export function sawAct(/** @type {Event} */ { at, day, data }) {
  if (NO_ACTS.includes(data.kind) || (data.kind === "try_answered" && data.judge === "tool")) return;
  rules.acted.set(day, Math.max(rules.acted.get(day) ?? 0, Date.parse(at)));
}

const two = (/** @type {number} */ value) => String(value).padStart(2, "0");

/** An instant with the player's own offset from UTC: `2026-11-26T17:00:00.250+01:00`. */
export function isoLocal(/** @type {number} */ ms) {
  const at = new Date(ms);
  const offset = -at.getTimezoneOffset();
  const local = new Date(ms + offset * 60_000).toISOString().slice(0, -1);
  const sign = offset < 0 ? "-" : "+";
  const size = Math.abs(offset);
  return `${local}${sign}${two(Math.floor(size / 60))}:${two(size % 60)}`;
}

/**
 * The practice day of an instant, `2026-11-26`. The same rule as the server's
 * (`domain.days.day_at`), and the same written cases (`tests/cases/days.json`).
 */
export function practiceDay(/** @type {number} */ ms) {
  const [before, calendar, after] = [-1, 0, 1].map((days) => written(new Date(ms), days));
  const latest = ms + rules.aheadMs;
  const reached = [after, calendar].find((day) => (rules.acted.get(day) ?? Infinity) <= latest);
  if (reached) return reached;
  if (inPlan(calendar, ms)) return calendar;
  const last = rules.acted.get(before) ?? Infinity;
  const goesOn = last <= latest && ms - last < rules.pauseMs;
  return goesOn || inPlan(before, ms) ? before : calendar;
}

/** @param {string} day @param {number} ms */
function inPlan(day, ms) {
  const [from, to] = rules.planned.get(day) ?? [Infinity, 0];
  return from <= ms && ms < to;
}

/** The date by the wall clock, whatever the practice day. */
export const calendarDay = (/** @type {number} */ ms) => written(new Date(ms), 0);

function written(/** @type {Date} */ at, /** @type {number} */ later) {
  const day = new Date(at.getFullYear(), at.getMonth(), at.getDate() + later, 12);
  return `${day.getFullYear()}-${two(day.getMonth() + 1)}-${two(day.getDate())}`;
}

/** `17:05` */
export function clockTime(/** @type {number} */ ms) {
  const at = new Date(ms);
  return `${two(at.getHours())}:${two(at.getMinutes())}`;
}

/** `1 January 1970` */
export const longDay = (/** @type {number} */ ms) =>
  new Intl.DateTimeFormat("en-GB", { dateStyle: "long" }).format(new Date(ms));

/** Minutes and seconds left, never below zero; whole seconds, the running one counted. */
export function left(/** @type {number} */ endsMs, /** @type {number} */ now) {
  const seconds = Math.max(0, Math.ceil((endsMs - now) / 1000));
  return { minutes: Math.floor(seconds / 60), seconds: seconds % 60, all: seconds };
}

/** `3:05` */
export const minutesWritten = (/** @type {number} */ seconds) =>
  `${Math.floor(seconds / 60)}:${two(Math.floor(seconds % 60))}`;

/** `12 min`, from 90 min on `1 h 42 min` */
export function minutesSaid(/** @type {number} */ minutes) {
  if (minutes < 90) return `${minutes} min`;
  const rest = minutes % 60;
  return `${Math.floor(minutes / 60)} h${rest ? ` ${rest} min` : ""}`;
}

/**
 * Whole minutes left until a plan would end that was to start at its own time; null when it is not late
 * (five minutes are nobody's fault) or long over.
 * @param {Plan} plan @param {number} minutes its length @param {number} now
 */
export function minutesLeftOf(plan, minutes, now) {
  const { day, starts_on, starts_at } = plan.request;
  const startsMs = local(`${starts_on ?? day}T${starts_at}`);
  const lead = plan.run ? plan.run.minutes + plan.rules.break_min : 0; // played before the slots
  const late = (now - startsMs) / 60_000 - lead;
  return late > 5 && late < minutes - 5 ? Math.floor(minutes - late) : null;
}

export { two };
