// @ts-check
// The events this page knows: what the server told, and what was written here. Written to the
// page's store before anything is done with them.

/** @import {Event, Happening, Session, Snapshot} from "../model.js" */
/** @import {SessionStore} from "../keeping/store.js" */
import { idMaker, namedId } from "../keeping/ids.js";
import { fold, inOrder } from "./reducer.js";
import { sessionEnd, slotEnd } from "./scene.js";
import { isoLocal, practiceDay, sawAct } from "./dates.js";
import { notBefore, now as timeNow } from "./monotonic-clock.js";

const STRAIGHT_MS = 3000;

export class EventLog {
  /** @param {SessionStore} store @param {() => void} poke tells the outbox */
  constructor(store, poke) {
    this.store = store;
    this.poke = poke;
    /** @type {Map<string, Event>} */
    this.known = new Map();
    /** @type {string | null} */
    this.sessionId = null;
    /** @type {Session | null} */
    this.session = null;
    /** Events that the browser's store refused: a reload would not know them. @type {Event[]} */
    this.loose = [];
    this.newId = idMaker(
      () => timeNow(),
      (bytes) => crypto.getRandomValues(bytes),
    );
  }

  add(/** @type {Iterable<Event>} */ events) {
    for (const event of events) {
      this.known.set(event.id, event);
      sawAct(event);
    }
    this.refold();
  }

  refold() {
    const id = this.sessionId;
    this.session = id === null ? null : fold(eventsOf(this.known.values(), id));
    // Also after a reload: a clock set back in mid-session must not mix what is still to come
    // with what was.
    if (this.session && this.session.endedMs === null) notBefore(latest(this.known.values(), id));
  }

  choose(/** @type {string | null} */ sessionId) {
    this.sessionId = sessionId;
    this.refold();
  }

  get failing() {
    return this.loose.length > 0;
  }

  /** Tries again to bring what the store refused into it, or else to the server. */
  async settleLoose() {
    const events = [...this.loose];
    const kept = await this.store.keep(events).then(() => true, () => false);
    const there = kept ? new Set(events.map((e) => e.id)) : await straight(events);
    this.loose = this.loose.filter((one) => !there.has(one.id));
    if (kept) this.poke();
  }

  /** Writes down what happened; resolves when it is on disk. */
  async write(/** @type {Happening[]} */ happenings) {
    if (happenings.length === 0) return;
    const day = this.session?.day;
    const events = happenings.map(({ atMs, data, byTime }) => ({
      id: byTime ? idByTime(atMs, data) : this.newId(),
      at: isoLocal(atMs),
      day: day ?? practiceDay(atMs),
      data,
    }));
    await this.store.keep(events).catch(() => this.loose.push(...events));
    if (this.loose.length) await this.settleLoose();
    this.add(events);
    this.poke();
  }
}

/** @param {Iterable<Event>} events @param {string | null} id @returns {number} */
function latest(events, id) {
  return eventsOf(events, id ?? "").reduce((ms, e) => Math.max(ms, Date.parse(e.at)), 0);
}

const RANKS = ["slot_ended", "break_started", "break_ended", "intention_set", "slot_started", "session_ended"];

/** @param {number} atMs @param {import("../model.js").Data} data */
function idByTime(atMs, data) {
  const of = /** @type {Record<string, unknown>} */ (data);
  const name = [data.kind, of.session_id, of.slot_id ?? of.after_period ?? "", atMs].join("/");
  return namedId(atMs, RANKS.indexOf(data.kind) + 1, name);
}

/**
 * The store is full or gone: the server is the only place left.
 * @param {Event[]} events @returns {Promise<Set<string>>} ids that it has
 */
async function straight(events) {
  const headers = { "Content-Type": "application/json" };
  const body = JSON.stringify(events);
  try {
    const signal = AbortSignal.timeout(STRAIGHT_MS);
    const response = await fetch("/api/events", { method: "POST", body, headers, signal });
    return new Set(response.ok ? (await response.json()).kept : []);
  } catch {
    return new Set();
  }
}

/** Events of one session; those that name none (verdicts, taken back answers) come along. */
export function eventsOf(/** @type {Iterable<Event>} */ events, /** @type {string} */ sessionId) {
  return [...events].filter(({ data }) => {
    const of = "session_id" in data ? data.session_id : undefined;
    return of === undefined || of === null || of === sessionId;
  });
}

/**
 * Which session this page is in: the latest that runs, else the latest of the day.
 * @param {Iterable<Event>} events
 * @param {string} day
 * @returns {string | null}
 */
export function sessionOf(events, day) {
  const all = inOrder(events);
  const started = all.filter((e) => e.data.kind === "session_started");
  const ended = new Set(
    all.flatMap((e) => (e.data.kind === "session_ended" ? [e.data.session_id] : [])),
  );
  const id = (/** @type {Event | undefined} */ e) =>
    e?.data.kind === "session_started" ? e.data.session_id : null;
  const open = started.filter((e) => !ended.has(id(e) ?? ""));
  return id(open.at(-1)) ?? id(started.filter((e) => e.day === day).at(-1));
}

/**
 * A session that was left open on an earlier day ends as it was.
 * @param {Session} session
 * @returns {Happening[]}
 */
export function closed(session) {
  const run = session.runs.at(-1);
  const endMs = run ? run.startedMs + run.plannedS * 1000 : session.startedMs;
  const before = run?.endedMs === null ? [slotEnd(session, run, endMs, false)] : [];
  return [...before, sessionEnd(session, run?.endedMs ?? endMs)];
}

/** @param {SessionStore} store @returns {Promise<{snapshot: Snapshot | null, reached: boolean}>} */
export async function loadSnapshot(store) {
  try {
    const signal = AbortSignal.timeout(5000);
    const response = await fetch("/api/session", { cache: "no-store", signal });
    if (!response.ok) throw new Error(String(response.status));
    const snapshot = await response.json();
    await store.note("snapshot", snapshot).catch(() => undefined);
    return { snapshot, reached: true };
  } catch {
    return { snapshot: (await store.recall("snapshot")) ?? null, reached: false };
  }
}
