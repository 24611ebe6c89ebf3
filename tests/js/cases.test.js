// @ts-check
// The page follows a session, and looks up a late start, as the server does: the same written cases
// (`tests/cases`) are run there by pytest.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import { shortened } from "../../src/coldtake/web/static/session/flow/late.js";
import { eventsOf } from "../../src/coldtake/web/static/session/flow/log.js";
import { fold } from "../../src/coldtake/web/static/session/flow/reducer.js";

const read = (name) => JSON.parse(readFileSync(new URL(`../cases/${name}.json`, import.meta.url), "utf8"));
const DAY = "2026-11-26";
const PLAN = [["A", "B", "C"], ["D", "E"]];
const instant = (text) => (text.includes("T") ? text : `${DAY}T${text}Z`);
const ms = (text) => text && Date.parse(instant(text));

const slotNamed = (id) => ({ id, step_id: `step ${id}`, topic_id: "t", kind: "work", minutes: 5 });
const planOf = (names) => ({
  id: "plan",
  rules: { break_min: 5 },
  periods: names.map((period) => ({ slots: period.map(slotNamed) })),
  spare: [],
});

function eventOf(one, [at, kind, said, name], number) {
  const data = { kind, session_id: "s", ...said };
  if (kind === "answer_taken_back") delete data.session_id;
  if (kind === "session_started") data.plan = planOf(said.plan ?? one.plan ?? PLAN);
  if (kind === "slot_added") data.slot = slotNamed(said.slot);
  if (kind === "try_answered") data.judge ??= "player";
  if (kind === "session_ended") data.early ??= false;
  if (kind === "slot_ended") data.early ??= false;
  const id = name ?? `e${String(number).padStart(3, "0")}`;
  return { id, at: instant(at), day: one.day ?? DAY, data };
}

function told(session) {
  const added = session.places.filter((p) => p.added).map((p) => p.slot.id);
  return {
    day: session.day,
    intentions: Object.fromEntries([...session.intentions].map(([id, { words }]) => [id, words])),
    added,
    runs: session.runs.map((r) => [
      r.slotId, r.startedMs, r.plannedS, r.endedMs === null ? null : r.playedS, r.endedMs, r.early,
    ]),
    breaks: session.breaks.map((b) => [b.afterPeriod, b.startedMs, b.endedMs]),
    tries: session.tries.map((t) => [t.id, t.answer, t.judge, t.heard]),
    ended: session.endedMs,
    early: session.early,
    note: session.note,
  };
}

function expected(one) {
  const calm = { intentions: {}, added: [], breaks: [], ended: null, early: false, note: "" };
  const want = { ...calm, ...one.session, day: one.day ?? DAY };
  want.ended = ms(want.ended);
  want.runs = want.runs.map(([id, start, planned, played, end, early]) => [
    id, ms(start), planned, played, ms(end), early,
  ]);
  want.breaks = want.breaks.map(([after, start, end]) => [after, ms(start), ms(end)]);
  return want;
}

for (const one of read("sessions")) {
  test(`session: ${one.name}`, () => {
    const events = one.events.map((event, number) => eventOf(one, event, number));
    assert.deepEqual(told(fold(eventsOf(events, "s"))), expected(one));
    const mixed = [...events, ...events].reverse();
    assert.deepEqual(told(fold(eventsOf(mixed, "s"))), expected(one));
  });
}

for (const one of read("late_starts")) {
  test(`late start: ${one.name}`, () => {
    const names = one.periods.map((period, p) => period.map((_, n) => `${p}.${n}`));
    const plan = planOf(names);
    const slots = plan.periods.flatMap((p) => p.slots);
    one.periods.flat().forEach(([minutes], n) => (slots[n].minutes = minutes));
    for (const [left, minutes] of Object.entries(one.left)) {
      const cut = shortened(plan, one.table, Number(left));
      const kept = cut.plan.periods.flatMap((p) => p.slots).map((s) => [s.id, s.minutes]);
      const want = slots.map((s, n) => [s.id, minutes[n]]).filter(([, m]) => m);
      assert.deepEqual(kept, want, `${left} minutes left`);
      const out = one.table.best_first.filter((n) => !minutes[n]).map((n) => slots[n].id);
      assert.deepEqual(cut.dropped.map((s) => s.id), out);
    }
  });
}
