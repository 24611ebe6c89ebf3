// @ts-check
// The session from its events: order and repeats do not matter, deadlines are absolute, nothing is
// answered twice. Times are written as minutes and seconds after 17:00.
import assert from "node:assert/strict";
import { test } from "node:test";

import * as actions from "../../src/coldtake/web/static/session/flow/actions.js";
import { CALM, due, scene } from "../../src/coldtake/web/static/session/flow/scene.js";
import { answersTo, fold, progress } from "../../src/coldtake/web/static/session/flow/reducer.js";
import { goalWords, offers } from "../../src/coldtake/web/static/session/view/view-slot.js";
import { left } from "../../src/coldtake/web/static/session/flow/dates.js";

const BASE = Date.parse("2026-11-26T17:00:00Z");
const at = (minutes, seconds = 0) => BASE + (minutes * 60 + seconds) * 1000;
const slot = (id, topic, kind = "work", minutes = 5, more = {}) => ({
  id,
  step_id: `step-${id.split("+")[0]}`,
  topic_id: topic,
  kind,
  minutes,
  question: "Every note right?",
  goal: "",
  reason: "",
  ...more,
});
const PLAN = {
  id: "plan",
  request: { day: "2026-11-26", starts_at: "17:00:00", minutes: 30 },
  rules: { break_min: 5, slot_least_min: 2, slot_most_min: 12, cold_min: 2 },
  periods: [
    { slots: [slot("A", "t1", "cold", 2), slot("B", "t1"), slot("C", "t2")] },
    { slots: [slot("D", "t1"), slot("E", "t2", "work", 4)] },
  ],
  spare: [slot("S", "t3")],
  left_out: [],
  remarks: [],
};

/** A small player: acts at given times, time itself does the rest. */
class Desk {
  constructor(plan = PLAN) {
    this.events = [];
    this.context = { ...CALM, quietS: 20 };
    this.write(at(0), { kind: "session_started", session_id: "s", plan });
  }
  write(atMs, data) {
    const id = `id-${String(this.events.length).padStart(4, "0")}`;
    this.events.push({ id, at: new Date(atMs).toISOString(), day: "2026-11-26", data });
  }
  get session() {
    return fold(this.events);
  }
  tick(now) {
    for (let one; (one = due(this.session, now, this.context)); ) this.write(one.atMs, one.data);
    return this.see(now);
  }
  see(now) {
    return scene(this.session, now, this.context);
  }
  do(now, name, ...rest) {
    for (const one of actions[name](this.session, this.see(now), ...rest, now))
      this.write(one.atMs, one.data);
    return this.tick(now);
  }
  answer(now, answer, tryId, more = {}) {
    const about = { tryId, ...more };
    for (const one of actions.answerTry(this.session, this.see(now), answer, now, about))
      this.write(one.atMs, one.data);
    return this.tick(now);
  }
  /** Nobody touches anything, the page ticks every quarter of a second. */
  run(from, to) {
    for (let now = from; now <= to; now += 250) this.tick(now);
    return this.see(to);
  }
  starts() {
    return this.session.runs.map((r) => [r.slotId, (r.startedMs - BASE) / 1000, r.plannedS]);
  }
}

test("a whole session runs by itself up to the break, and after it", () => {
  const desk = new Desk();
  assert.equal(desk.tick(at(0)).screen, "intention");
  assert.equal(desk.do(at(0, 10), "intend", "one line").screen, "quiet");
  desk.run(at(0, 10), at(13, 30));
  // A 0:30 for 2 min, B at once (same topic), C after an intention that nobody wrote (15 s).
  assert.deepEqual(desk.starts(), [["A", 30, 120], ["B", 150, 300], ["C", 465, 285]]);
  const pause = desk.see(at(13, 30));
  assert.equal(pause.screen, "break");
  assert.equal(pause.run.startedMs, at(12, 30), "the time of the intention moved the break");
  assert.equal(desk.run(at(13, 30), at(40)).screen, "intention");
  assert.deepEqual(
    desk.session.breaks.map((b) => [b.startedMs, b.endedMs]),
    [[at(12, 30), at(17, 30)]],
  );
  desk.do(at(40), "intend", "");
  assert.equal(desk.run(at(40), at(50)).screen, "end");
  assert.deepEqual(desk.starts().slice(3), [["D", 2400, 300], ["E", 2715, 225]]);
  assert.equal(desk.session.early, false);
});

test("the fold does not depend on order or repeats", () => {
  const desk = new Desk();
  desk.do(at(0, 5), "intend", "");
  desk.run(at(0, 5), at(4));
  desk.answer(at(4), "yes", "x1");
  const once = fold(desk.events);
  assert.deepEqual(fold([...desk.events].reverse().concat(desk.events)), once);
  assert.equal(once.tries.length, 1);
});

test("a reload within a slot keeps its deadline; a late tick does not stretch it", () => {
  const desk = new Desk();
  desk.do(at(0), "intend", "");
  desk.tick(at(0, 21));
  const seen = desk.tick(at(2, 33)); // 13 s late, the page was being loaded
  assert.equal(seen.screen, "slot");
  assert.deepEqual(desk.starts(), [["A", 20, 120], ["B", 140, 300]]);
});

test("after a long sleep the slot has ended at its deadline and the player is asked", () => {
  const desk = new Desk();
  desk.do(at(0), "intend", "");
  desk.tick(at(0, 21));
  const seen = desk.tick(at(50));
  assert.equal(seen.screen, "between");
  assert.equal(desk.session.runs[0].playedS, 120);
  assert.equal(desk.session.runs.length, 1);
  assert.equal(desk.do(at(50, 5), "goOn").screen, "slot");
  assert.deepEqual(desk.starts()[1], ["B", 3005, 300]);
});

test("a cold slot has one chance, then goes on; its rest goes to the next work", () => {
  const desk = new Desk();
  desk.do(at(0), "intend", "");
  desk.tick(at(0, 20));
  desk.answer(at(1), "no", "x1");
  desk.answer(at(1, 1), "yes", "x2");
  assert.deepEqual(answersTo(desk.session, "step-A"), [false]);
  desk.context.coldSinceMs = at(1);
  const soon = desk.tick(at(1, 5));
  assert.equal(soon.screen === "slot" && soon.place.slot.id, "A");
  desk.tick(at(1, 6));
  assert.deepEqual(desk.starts()[1], ["B", 66, 374], "120 - 46 s left over, added to 300");
});

test("an answer can be taken back for the rest of the slot, not later", () => {
  const desk = new Desk();
  desk.do(at(0), "intend", "");
  desk.run(at(0), at(3));
  desk.answer(at(3), "yes", "x1");
  desk.answer(at(3, 5), "yes", "x2");
  desk.do(at(3, 6), "takeBack");
  assert.deepEqual(desk.session.tries.map((t) => t.id), ["x1"]);
  desk.do(at(3, 8), "moveOn");
  desk.do(at(3, 9), "takeBack");
  assert.deepEqual(desk.session.tries.map((t) => t.id), ["x1"]);
});

test("the player outranks the tool, and both answers stay", () => {
  const desk = new Desk();
  desk.do(at(0), "intend", "");
  desk.run(at(0), at(3));
  desk.write(at(3), {
    kind: "try_answered",
    try_id: "take-1",
    take_id: "take-1",
    step_id: "step-B",
    slot_id: "B",
    session_id: "s",
    answer: "cannot_tell",
    judge: "tool",
  });
  desk.answer(at(3, 9), "yes", "take-1", { takeId: "take-1" });
  const [only] = desk.session.tries;
  assert.deepEqual([only.answer, only.judge, only.heard], ["yes", "player", "cannot_tell"]);
});

test("a yes that comes early makes room for the spare slot, to the second", () => {
  const desk = new Desk();
  desk.do(at(0), "intend", "");
  desk.run(at(0), at(3));
  assert.equal(desk.do(at(4), "takeSpare").screen, "slot");
  assert.deepEqual(desk.starts().slice(1), [["B", 140, 300], ["S", 240, 200]]);
  const after = desk.run(at(4), at(7, 21));
  assert.equal(after.screen === "intention" && after.place.slot.id, "C");
});

test("the offer of the spare slot names the minutes that the clock shows", () => {
  const desk = new Desk();
  desk.do(at(0), "intend", "");
  desk.run(at(0), at(3));
  const now = at(4) + 80; // a moment later the clock still shows the whole minute
  const seen = desk.see(now);
  const shown = left(seen.endsMs, now).minutes;
  assert.equal(actions.spareFor(desk.session, seen, now)?.minutes, shown);
});

test("stopping the clock keeps what is left; going on takes it up", () => {
  const desk = new Desk();
  desk.do(at(0), "intend", "");
  desk.run(at(0), at(3));
  desk.context.held = true;
  const held = desk.do(at(4), "moveOn");
  assert.equal(held.screen, "between");
  desk.context.held = false;
  // Time does not start the next slot over the player's head only because the flag fell.
  const [again] = actions.goOn(desk.session, scene(desk.session, at(9), { ...CALM, held: true }), at(9));
  assert.equal(again.data.kind === "slot_started" && again.data.slot_id, "B");
  assert.equal(again.data.kind === "slot_started" && again.data.planned_s, 200);
});

test("a take that runs over the end holds the slot; the next one is shorter by as much", () => {
  const desk = new Desk();
  desk.do(at(0), "intend", "");
  desk.run(at(0), at(2));
  desk.context.busy = true;
  assert.equal(desk.tick(at(2, 30)).screen, "slot");
  desk.context.busy = false;
  desk.context.freeSinceMs = at(2, 32);
  desk.tick(at(2, 32));
  assert.deepEqual(desk.starts()[1], ["B", 152, 288]);
});

test("a break is at least three minutes and ends by itself", () => {
  const desk = new Desk();
  desk.do(at(0), "intend", "");
  desk.run(at(0), at(14));
  const { run } = desk.see(at(14));
  assert.equal(desk.do(run.startedMs + 179_000, "goOn").screen, "break");
  assert.equal(desk.do(run.startedMs + 180_000, "goOn").screen, "intention");
});

test("ending early is recorded as it was, a note may follow", () => {
  const desk = new Desk();
  desk.do(at(0), "intend", "");
  desk.run(at(0), at(3));
  assert.equal(desk.do(at(3, 30), "endNow").screen, "end");
  desk.write(at(4), { kind: "session_ended", session_id: "s", note: "tired", early: true });
  const { session } = desk;
  assert.deepEqual([session.early, session.note, session.endedMs], [true, "tired", at(3, 30)]);
  assert.equal(session.runs.at(-1).playedS, 70);
});

test("how far k in a row has got", () => {
  const row = { wanted: 3, among: null };
  assert.deepEqual(progress(row, [true, false, true, true]), { have: 2, wanted: 3, met: false });
  assert.equal(progress(row, [true, true, true, true]).met, true);
  assert.equal(progress({ wanted: 2, among: 3 }, [true, true, false, false]).have, 1);
  assert.equal(progress({ wanted: 1, among: null }, []).met, false);
});

test("the click begins where the goal of the day says, a cold take's at the tempo asked for", () => {
  const step = { tempo_bpm: 112, begin_bpm: 60 };
  assert.equal(actions.clickTempo(step, false), 60);
  assert.equal(actions.clickTempo(step, true), 112);
  assert.equal(actions.clickTempo({ tempo_bpm: 96 }, false), 96); // a snapshot kept by an older page
  assert.equal(actions.clickTempo({ tempo_bpm: null, begin_bpm: null }, false), null);
});

test("a cold take offers no more work on it, and names no way through the tempi", () => {
  const [cold, work] = [slot("A", "t1", "cold", 2), slot("B", "t1")];
  assert.deepEqual([offers(cold, true), offers(work, true), offers(work, false)], [false, true, false]);
  const way = { words: "By the marks: 60, 63", way: true, written: "Written: quarter = 72." };
  assert.equal(goalWords(cold, way), "Written: quarter = 72.");
  assert.equal(goalWords(work, way), "Written: quarter = 72. By the marks: 60, 63");
  assert.equal(goalWords(cold, { words: "Long bows", way: false }), "Long bows");
});
