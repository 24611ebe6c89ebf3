// @ts-check
// Everything that was written down goes to the server: in order, as often as it takes, and leaves
// the page's store only when the server has said that it has it. Sending twice is harmless, since
// ids are made here. Logic only; the store and the network are given.

/** @import {Event, Verdict} from "../model.js" */

/**
 * @typedef {object} WaitingTake
 * @property {string} takeId
 * @property {string} query
 */
/**
 * @typedef {object} OutboxParts
 * @property {(most: number) => Promise<Event[]>} unsent oldest first
 * @property {(ids: string[]) => Promise<void>} settle the server has these
 * @property {(refused: {id: string, why: string}[]) => Promise<void>} refuse
 * @property {() => Promise<WaitingTake[]>} takes that are whole and not sent
 * @property {(take: WaitingTake) => Promise<ArrayBuffer>} sound
 * @property {(take: WaitingTake, reply: unknown) => Promise<void>} takeSent
 * @property {(take: WaitingTake, why: string) => Promise<void>} takeRefused
 * @property {(path: string, body: string | ArrayBuffer, method: string) => Promise<Reply>} send
 * @property {(report: Report) => void} report
 */
/** @typedef {{status: number, body: any}} Reply `status` 0 when nobody answered */
/**
 * @typedef {object} Report
 * @property {number} waiting
 * @property {boolean} reached
 * @property {string} [fault] why the server cannot save anything now, "" when it can
 * @property {boolean} [misdated] this device's clock cannot be right: what was sent waits for its day
 */

export const BATCH = 100;
const FIRST_WAIT_MS = 500;
const LONGEST_WAIT_MS = 15_000;

/** Wait before try number n (counted from 1) after failures: doubles, up to a quarter minute. */
export const backoffMs = (/** @type {number} */ n) =>
  Math.min(LONGEST_WAIT_MS, FIRST_WAIT_MS * 2 ** Math.max(0, n - 1));

/** A reply that will be the same next time: the thing itself is refused. */
const isRefusal = (/** @type {Reply} */ { status }) =>
  status >= 400 && status < 500 && ![401, 408, 409, 421, 425, 429].includes(status);

/** @param {OutboxParts} parts @returns {Promise<boolean>} true when all has gone */
export async function flush(parts) {
  const done = (await flushEvents(parts)) && (await flushTakes(parts));
  return done;
}

/** @param {OutboxParts} parts */
async function flushEvents(parts) {
  for (;;) {
    const events = await parts.unsent(BATCH);
    if (events.length === 0) return true;
    const reply = await parts.send("/api/events", JSON.stringify(events), "POST");
    parts.report({ waiting: events.length, reached: reply.status !== 0, ...faultOf(reply) });
    if (reply.status !== 200) return false;
    const sent = new Set(events.map((e) => e.id));
    /** @type {string[]} */
    const kept = reply.body.kept.filter((/** @type {string} */ id) => sent.has(id));
    await parts.settle(kept);
    await parts.refuse(reply.body.refused);
    if (kept.length + reply.body.refused.length === 0) return false; // nothing moved: wait
    const misdated = (reply.body.waiting ?? []).length > 0;
    parts.report({ waiting: events.length - kept.length, reached: true, misdated });
  }
}

/** @param {OutboxParts} parts */
async function flushTakes(parts) {
  for (const take of await parts.takes()) {
    const path = `/api/takes/${take.takeId}?${take.query}`;
    const reply = await parts.send(path, await parts.sound(take), "PUT");
    parts.report({ waiting: 1, reached: reply.status !== 0, ...faultOf(reply) });
    if (isRefusal(reply)) await parts.takeRefused(take, refusalWords(reply));
    else if (reply.status !== 200) return false;
    else await parts.takeSent(take, reply.body);
    parts.report({ waiting: 0, reached: true, misdated: reply.body?.waiting === true });
  }
  return true;
}

/** What is wrong with the server's own log; nothing where nobody answered. @param {Reply} reply */
function faultOf(reply) {
  if (reply.status === 0) return {};
  return { fault: reply.status === 503 ? refusalWords(reply) : "" };
}

/** @param {Reply} reply */
function refusalWords(reply) {
  const error = reply.body?.error;
  return error ? [error.what, error.remedy].filter(Boolean).join(" ") : "The take was refused.";
}

/**
 * Runs for ever: sends when poked, and again with growing waits while something is left.
 * @param {OutboxParts} parts
 * @param {(ms: number | null) => Promise<void>} rest resolves after so long, or when poked
 */
export async function run(parts, rest) {
  for (let failures = 0; ; ) {
    const done = await flush(parts).catch(() => false);
    failures = done ? 0 : failures + 1;
    await rest(done ? null : backoffMs(failures));
  }
}
