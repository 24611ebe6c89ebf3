// @ts-check
// When takes start by themselves. Times are seconds after the slot's start.
import assert from "node:assert/strict";
import { test } from "node:test";

import { chain, takeLengthS } from "../../src/coldtake/web/static/session/flow/auto-start.js";

const CLICK = { on: true, through: true, bpm: 60, unit: 1, perBar: 4, bars: 1 };
const STEP = { heard: true, passage_beats: 14, pickup_beats: 0, times: { wanted: 3, among: null } };
const FREE = { startedMs: 0, endsMs: 600_000, tries: [], met: false, freeMs: 0, stopped: false };
const view = (more = {}, kind = "work") => ({ slot: { kind }, step: STEP, click: CLICK, ...FREE, ...more });
const tries = (...answers) => answers.map((answer) => ({ answer }));

test("a take's length: count-in, passage, tail, the verdict", () => {
  assert.equal(takeLengthS(STEP, CLICK), 4 + 14 + 1 + 5);
  assert.equal(takeLengthS(STEP, { ...CLICK, on: false }), 20);
  assert.equal(takeLengthS({ ...STEP, passage_beats: null }, CLICK), null);
  assert.equal(takeLengthS(STEP, { ...CLICK, unit: 0.5 }), 4 + 28 + 6, "eighth = 60");
});

test("a cold take starts a quarter minute into its slot, once", () => {
  assert.deepEqual(chain(view({ endsMs: 120_000 }, "cold")), { state: "waits", atMs: 15_000 });
  assert.equal(chain(view({ tries: tries("no") }, "cold")).state, "none");
});

test("work comes first; the end of the slot is for takes", () => {
  // Six takes of 24 s with 10.5 s between them: from 600 - 207 s on.
  assert.deepEqual(chain(view()), { state: "waits", atMs: 393_000 });
  const short = chain(view({ endsMs: 180_000 }));
  assert.equal(short.atMs, 60_000, "never in the first third");
});

test("after a yes the next follows; after a no there is time, and work before the end's takes", () => {
  assert.equal(chain(view({ tries: tries("yes"), freeMs: 50_000 })).atMs, 56_000);
  assert.equal(chain(view({ tries: tries("no"), freeMs: 50_000 })).atMs, 393_000);
  assert.equal(chain(view({ tries: tries("no"), freeMs: 500_000 })).atMs, 515_000);
});

test("it stops when the question is met, at the player's word, when nothing is heard, before the end", () => {
  assert.equal(chain(view({ met: true })).state, "met");
  assert.equal(chain(view({ stopped: true })).state, "stopped");
  assert.equal(chain(view({ tries: tries("cannot_tell", "cannot_tell") })).state, "unheard");
  assert.equal(chain(view({ tries: tries("cannot_tell", "no", "cannot_tell") })).state, "waits");
  const late = chain(view({ tries: tries("yes"), freeMs: 571_000 }));
  assert.deepEqual([late.state, late.atMs], ["late", Infinity]);
  assert.equal(chain(view({ tries: tries("yes"), freeMs: 569_000 })).state, "waits");
});

test("nothing starts by itself where nothing can be heard", () => {
  assert.equal(chain(view({ step: { ...STEP, heard: false } })).state, "none");
  assert.equal(chain(view({ step: { ...STEP, passage_beats: null } })).state, "none");
});
