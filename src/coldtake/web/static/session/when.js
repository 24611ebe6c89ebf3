// @ts-check
// Instants, practice days and how they are written.

const rules = { turnsAtHour: 4, reached: "" };

/**
 * What the server said: until which hour practice counts to the day before, and the day it is.
 * A day never goes back (a flight to the west), so the one that was reached is held.
 * @param {number} turnsAtHour @param {string} reached
 */
export function ruleDays(turnsAtHour, reached) {
  Object.assign(rules, { turnsAtHour, reached });
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

/** The practice day of an instant, `2026-11-26`. */
export function practiceDay(/** @type {number} */ ms) {
  const at = new Date(ms);
  const back = at.getHours() < rules.turnsAtHour ? 1 : 0; // by the wall clock: hours are not equal
  const day = written(at, -back);
  return rules.reached === written(at, 1 - back) ? rules.reached : day;
}

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

/** `1 minute`, `12 minutes` */
export const minutesSaid = (/** @type {number} */ minutes) =>
  `${minutes} minute${minutes === 1 ? "" : "s"}`;

/**
 * Whole minutes left until a plan would end that was to start at its own time; null when it is not late
 * (five minutes are nobody's fault) or long over.
 * @param {import("./model.js").Plan} plan @param {number} minutes its length @param {number} now
 */
export function minutesLeftOf(plan, minutes, now) {
  const starts = new Date(`${plan.request.day}T${plan.request.starts_at}`);
  if (starts.getHours() < rules.turnsAtHour) starts.setDate(starts.getDate() + 1); // at night
  const startsMs = starts.getTime();
  const lead = plan.run ? plan.run.minutes + plan.rules.break_min : 0; // played before the slots
  const late = (now - startsMs) / 60_000 - lead;
  return late > 5 && late < minutes - 5 ? Math.floor(minutes - late) : null;
}

export { two };
