// @ts-check
// What the page keeps for itself until the server has it, and for a reload without a server.
// Events: written before the page acts on them. Sound: every tenth of a second while a take runs.

/** @import {Event, Snapshot} from "../model.js" */
/** @import {IDBPDatabase} from "../../vendor/idb/index.js" */
import { openDB } from "../../vendor/idb/index.js";

const STRICT = { durability: /** @type {const} */ ("strict") };
const RELAXED = { durability: /** @type {const} */ ("relaxed") };

/**
 * @typedef {object} StoredEvent
 * @property {string} id
 * @property {Event} event
 * @property {0 | 1} waiting 1 until the server has it
 * @property {string} [why] the server's reason for refusing it
 */
/**
 * @typedef {object} StoredTake
 * @property {string} takeId
 * @property {string} sessionId
 * @property {string} slotId
 * @property {string} stepId
 * @property {string} query what the server is told beside the sound
 * @property {number} rate frames a second
 * @property {"recording" | "ready" | "refused"} status
 * @property {string} [why]
 */
/** @typedef {{frame: number, samples?: Float32Array, keys?: number[][]}} Batch sound, or a keyboard's messages */

export async function openStore() {
  const db = await openDB("coldtake-session", 1, {
    upgrade(fresh) {
      const events = fresh.createObjectStore("events", { keyPath: "id" });
      events.createIndex("waiting", "waiting");
      fresh.createObjectStore("takes", { keyPath: "takeId" });
      fresh.createObjectStore("batches", { keyPath: ["takeId", "frame"] });
      fresh.createObjectStore("memo");
    },
  });
  return new SessionStore(db);
}

export class SessionStore {
  /** @param {IDBPDatabase} db */
  constructor(db) {
    this.db = db;
  }

  /** Keeps events in one transaction, on disk when the promise resolves. */
  async keep(/** @type {Event[]} */ events, /** @type {0 | 1} */ waiting = 1) {
    const work = this.db.transaction("events", "readwrite", STRICT);
    for (const event of events) {
      const known = await work.store.get(event.id);
      if (!known) await work.store.put({ id: event.id, event, waiting });
    }
    await work.done;
  }

  /** @returns {Promise<Event[]>} all that this browser knows, sent or not */
  async events() {
    const all = /** @type {StoredEvent[]} */ (await this.db.getAll("events"));
    return all.filter((one) => !one.why).map((one) => one.event);
  }

  /** @returns {Promise<Event[]>} oldest first */
  async unsent(/** @type {number} */ most) {
    const found = await this.db.getAllFromIndex("events", "waiting", 1);
    return found
      .map((/** @type {StoredEvent} */ one) => one.event)
      .sort((a, b) => (a.id < b.id ? -1 : 1))
      .slice(0, most);
  }

  /** @param {string[]} ids @param {string} [why] given when the server refused them */
  async settle(ids, why) {
    const work = this.db.transaction("events", "readwrite", STRICT);
    for (const id of ids) {
      const one = await work.store.get(id);
      if (one) await work.store.put({ ...one, waiting: 0, ...(why ? { why } : {}) });
    }
    await work.done;
  }

  /** The server says that these follow under other ids, or do not count. */
  async forget(/** @type {string[]} */ ids) {
    const work = this.db.transaction("events", "readwrite", RELAXED);
    for (const id of ids) await work.store.delete(id);
    await work.done;
  }

  /** Lets go of acknowledged events of other sessions. */
  async forgetOthers(/** @type {string | null} */ sessionId) {
    const work = this.db.transaction("events", "readwrite", RELAXED);
    for (const one of /** @type {StoredEvent[]} */ (await work.store.getAll())) {
      const data = /** @type {{session_id?: string | null}} */ (one.event.data);
      if (!one.waiting && !one.why && data.session_id && data.session_id !== sessionId) {
        await work.store.delete(one.id);
      }
    }
    await work.done;
  }

  async beginTake(/** @type {StoredTake} */ take) {
    const work = this.db.transaction("takes", "readwrite", STRICT);
    await work.store.put(take);
    await work.done;
  }

  /** Changes what is known of a take, if it is still here. */
  async markTake(/** @type {string} */ takeId, /** @type {Partial<StoredTake>} */ change) {
    const work = this.db.transaction("takes", "readwrite", STRICT);
    const known = await work.store.get(takeId);
    if (known) await work.store.put({ ...known, ...change });
    await work.done;
  }

  async keepBatch(/** @type {string} */ takeId, /** @type {Batch} */ batch) {
    const work = this.db.transaction("batches", "readwrite", STRICT);
    await work.store.put({ takeId, ...batch });
    await work.done;
  }

  /** @returns {Promise<Batch[]>} in order of their frames */
  async batches(/** @type {string} */ takeId) {
    return this.db.getAll("batches", IDBKeyRange.bound([takeId, -Infinity], [takeId, Infinity]));
  }

  /** Pieces of sound that wait here, a tenth of a second each. @returns {Promise<number>} */
  async countBatches() {
    return this.db.count("batches");
  }

  /** @returns {Promise<StoredTake[]>} */
  async takes() {
    return this.db.getAll("takes");
  }

  /** The server has it: the sound here is let go. */
  async dropTake(/** @type {string} */ takeId) {
    const work = this.db.transaction(["takes", "batches"], "readwrite", STRICT);
    await work.objectStore("takes").delete(takeId);
    const range = IDBKeyRange.bound([takeId, -Infinity], [takeId, Infinity]);
    await work.objectStore("batches").delete(range);
    await work.done;
  }

  /** @returns {Promise<any>} */
  async recall(/** @type {string} */ name) {
    return this.db.get("memo", name);
  }

  async note(/** @type {string} */ name, /** @type {unknown} */ value) {
    await this.db.put("memo", value, name);
  }
}
