// @ts-check
// The outbox against a server that dies at every possible moment: nothing lost, nothing doubled.
import assert from "node:assert/strict";
import { test } from "node:test";

import { backoffMs, flush, run } from "../../src/coldtake/web/static/session/keeping/outbox.js";
import { idMaker, uuid7 } from "../../src/coldtake/web/static/session/keeping/ids.js";
import { clock } from "../../src/coldtake/web/static/session/flow/monotonic-clock.js";
import { KEYS, actionOf } from "../../src/coldtake/web/static/session/flow/shortcuts.js";

const event = (/** @type {string} */ id) => ({ id, at: "", day: "", data: {} });

/** A page's store and a server; `fate(n)` says what becomes of request n. */
function world(ids, fate, takes = []) {
  const waiting = new Map(ids.map((id) => [id, event(id)]));
  const waitingTakes = new Map(takes.map((id) => [id, { takeId: id, query: "step_id=x" }]));
  const log = [];
  const kept = new Set();
  const refused = [];
  let n = 0;
  const reached = (body, method) => {
    if (method === "PUT") {
      log.push("take");
      return { take: {}, verdict: { answer: "yes" } };
    }
    const got = JSON.parse(body).map((e) => e.id);
    for (const id of got.filter((id) => id !== "bad")) if (!kept.has(id)) (kept.add(id), log.push(id));
    return {
      kept: got.filter((id) => id !== "bad"),
      refused: got.filter((id) => id === "bad").map((id) => ({ id, why: "no such kind" })),
    };
  };
  const parts = {
    unsent: async (most) => [...waiting.values()].slice(0, most),
    settle: async (ids) => ids.forEach((id) => waiting.delete(id)),
    refuse: async (list) => list.forEach((r) => (waiting.delete(r.id), refused.push(r))),
    takes: async () => [...waitingTakes.values()],
    sound: async () => new ArrayBuffer(8),
    takeSent: async (take) => void waitingTakes.delete(take.takeId),
    takeRefused: async (take, why) => (waitingTakes.delete(take.takeId), refused.push(why)),
    report: () => {},
    send: async (path, body, method) => {
      const what = fate(++n, path);
      if (what === "dead") return { status: 0, body: null };
      if (typeof what === "number" && what !== 200)
        return { status: what, body: { error: { what: "Too short.", remedy: "Play longer." } } };
      const answer = reached(body, method);
      return what === "reply lost" ? { status: 0, body: null } : { status: 200, body: answer };
    },
  };
  return { parts, waiting, waitingTakes, log, refused };
}

test("killed before, in and after any request: all arrive, in order, once", async () => {
  const ids = Array.from({ length: 250 }, (_, i) => `e${String(i).padStart(3, "0")}`);
  for (const broken of [1, 2, 3]) {
    for (const how of ["dead", "reply lost", 500, 503]) {
      const { parts, waiting, log } = world(ids, (n) => (n === broken ? how : 200));
      assert.equal(await flush(parts), false);
      assert.ok(waiting.size > 0, "nothing leaves the page unacknowledged");
      assert.equal(await flush(parts), true);
      assert.deepEqual(log, ids);
      assert.equal(waiting.size, 0);
    }
  }
});

test("a log that cannot be written is told in its words, and nothing leaves the page", async () => {
  const { parts, waiting } = world(["a"], (n) => (n === 1 ? 503 : 200));
  const reports = [];
  parts.report = (report) => void reports.push(report);
  assert.equal(await flush(parts), false);
  assert.deepEqual(reports, [{ waiting: 1, reached: true, fault: "Too short. Play longer." }]);
  assert.equal(waiting.size, 1);
  await flush(parts);
  assert.equal(reports[1].fault, "");
  assert.equal(waiting.size, 0);
});

test("what waits for its day has arrived: it is let go, and told", async () => {
  const { parts, waiting } = world(["a"], () => 200, ["t"]);
  const send = parts.send;
  parts.send = async (...words) => {
    const reply = await send(...words);
    const waits = words[2] === "PUT" ? true : [{ id: "a", why: "before" }];
    return { ...reply, body: { ...reply.body, waiting: waits } };
  };
  const reports = [];
  parts.report = (report) => void reports.push(report);
  assert.equal(await flush(parts), true);
  assert.equal(waiting.size, 0);
  assert.deepEqual(reports.filter((one) => one.misdated).length, 2);
});

test("a refused event steps aside and is told, the others go", async () => {
  const { parts, log, refused } = world(["a", "bad", "c"], () => 200);
  assert.equal(await flush(parts), true);
  assert.deepEqual(log, ["a", "c"]);
  assert.deepEqual(refused, [{ id: "bad", why: "no such kind" }]);
});

test("takes go after the events, wait for a server that is busy, step aside when refused", async () => {
  const busy = world(["a"], (n) => (n === 2 ? 409 : 200), ["t1"]);
  assert.equal(await flush(busy.parts), false);
  assert.equal(await flush(busy.parts), true);
  assert.deepEqual(busy.log, ["a", "take"]);
  const short = world([], () => 422, ["t1", "t2"]);
  assert.equal(await flush(short.parts), true);
  assert.deepEqual(short.refused, ["Too short. Play longer.", "Too short. Play longer."]);
});

test("waits double up to a quarter minute, and a success starts afresh", async () => {
  assert.deepEqual([1, 2, 3, 6, 50].map(backoffMs), [500, 1000, 2000, 15000, 15000]);
  const rests = [];
  const { parts } = world(["a"], (n) => (n < 4 ? "dead" : 200));
  await assert.rejects(
    run(parts, async (ms) => {
      rests.push(ms);
      if (ms === null) throw new Error("enough");
    }),
  );
  assert.deepEqual(rests, [500, 1000, 2000, null]);
});

test("UUIDv7 as in RFC 9562, appendix A.6", () => {
  // 2022-02-22 14:22:22.00 GMT-05:00, rand_a 0xCC3, rand_b 0x18C4DC0C0C07398F (variant bits set)
  const random = Uint8Array.of(0x18, 0xc4, 0xdc, 0x0c, 0x0c, 0x07, 0x39, 0x8f);
  assert.equal(uuid7(0x017f22e279b0, 0xcc3, random), "017f22e2-79b0-7cc3-98c4-dc0c0c07398f");
});

test("ids of one maker rise, also within a millisecond and when the clock is set back", () => {
  let now = 1_700_000_000_000;
  const next = idMaker(() => now, (bytes) => crypto.getRandomValues(bytes));
  const ids = [];
  for (let i = 0; i < 10_000; i++) ids.push(next());
  now -= 3_600_000;
  for (let i = 0; i < 10; i++) ids.push(next());
  now += 7_200_000;
  ids.push(next());
  assert.deepEqual([...ids].sort(), ids);
  assert.equal(new Set(ids).size, ids.length);
  for (const id of ids.slice(0, 50))
    assert.match(id, /^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/);
});

test("one key, one action; every action has a key", () => {
  const keys = KEYS.flatMap((line) => line.keys);
  assert.equal(new Set(keys).size, keys.length);
  const away = { field: false, empty: false };
  for (const key of [" ", "Enter", "PageDown", "ArrowRight"])
    assert.equal(actionOf({ key }, away), "on");
  assert.equal(actionOf({ key: "Y" }, away), "yes", "with the capitals lock on");
  assert.equal(actionOf({ key: "y", ctrlKey: true }, away), null);
  assert.equal(actionOf({ key: " ", repeat: true }, away), null, "a held pedal acts once");
});

test("letters written into an intention are letters", () => {
  const field = { field: true, empty: false };
  for (const key of ["y", "n", "e", "Backspace", " "]) assert.equal(actionOf({ key }, field), null);
  assert.equal(actionOf({ key: "Enter" }, field), "on");
  assert.equal(actionOf({ key: " " }, { field: true, empty: true }), "on");
});

test("a clock that is set back changes nothing; a sleeping machine moves on", () => {
  let wall = 1_000_000;
  let steady = 50;
  const own = clock(() => wall, () => steady);
  const go = (/** @type {number} */ w, /** @type {number} */ s) => ((wall += w), (steady += s), own.now());
  assert.equal(go(500, 500), 1_000_500);
  assert.equal(go(-3_600_000, 100), 1_000_600);
  assert.equal(go(250, 250), 1_000_850);
  assert.equal(go(3_600_000 + 900_000, 0), 1_000_000 + 500 + 250 + 900_000);
  own.notBefore(2_000_000_000);
  assert.equal(go(10, 10), 2_000_000_010);
  own.notBefore(Date.UTC(2200, 0, 1)); // told by a clock that cannot be right
  assert.equal(go(10, 10), 2_000_000_020);
});
