// @ts-check
// The outbox's own thread: sends what the store holds, whatever the page does.
// Messages in: "poke". Out: {report}, {refused}, {takeSent: {takeId, reply}}, {takeRefused}.

import { run } from "./outbox.js";
import { encodeMidi } from "./midi-file.js";
import { openStore } from "./store.js";
import { encodeWav, placed } from "./wav.js";

const PATIENCE_MS = 60_000; // a long take is listened to before the answer comes

/** @type {(() => void) | null} */
let wake = null;
let poked = false;
self.onmessage = () => {
  poked = true;
  wake?.();
};
self.addEventListener("online", () => wake?.());

/** @param {number | null} ms @returns {Promise<void>} */
function rest(ms) {
  return new Promise((resolve) => {
    const done = () => {
      poked = false;
      wake = null;
      resolve();
    };
    wake = done;
    if (poked) done();
    else if (ms !== null) setTimeout(() => wake === done && done(), ms);
  });
}

/** @param {string} path @param {string | ArrayBuffer} body @param {string} method */
async function send(path, body, method) {
  const type = typeof body === "string" ? "application/json" : "audio/wav";
  try {
    const signal = AbortSignal.timeout(PATIENCE_MS);
    const headers = { "Content-Type": type, Accept: "application/json" };
    const response = await fetch(path, { method, body, headers, signal });
    return { status: response.status, body: await response.json().catch(() => null) };
  } catch {
    return { status: 0, body: null };
  }
}

const store = await openStore();
await run(
  {
    send,
    unsent: (most) => store.unsent(most),
    settle: (ids) => store.settle(ids),
    refuse: async (refused) => {
      for (const { id, why } of refused) await store.settle([id], why);
      if (refused.length) self.postMessage({ refused });
    },
    takes: async () => (await store.takes()).filter((take) => take.status === "ready"),
    sound: async ({ takeId }) => {
      const known = (await store.takes()).find((take) => take.takeId === takeId);
      const batches = await store.batches(takeId);
      const keys = batches.flatMap((batch) => batch.keys ?? []);
      if (keys.length) return encodeMidi(keys);
      const samples = batches.length ? placed(/** @type {any} */ (batches)) : new Float32Array(0);
      return encodeWav(samples, known?.rate ?? 48_000);
    },
    takeSent: async ({ takeId }, reply) => {
      const { events } = /** @type {{events: import("../model.js").Event[]}} */ (reply);
      await store.keep(events, 0); // before the sound is let go: a reload must know the verdict
      await store.dropTake(takeId);
      self.postMessage({ takeSent: { takeId, reply } });
    },
    takeRefused: async ({ takeId }, why) => {
      await store.markTake(takeId, { status: "refused", why });
      self.postMessage({ takeRefused: { takeId, why } });
    },
    report: (report) => self.postMessage({ report }),
  },
  rest,
);
