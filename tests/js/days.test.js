// @ts-check
// The page's practice day agrees with the server's: the same written cases (`tests/cases`) are run
// there by pytest. Changes of summer time in Vienna 2027: 28 March 02:00 to 03:00, 31 October 03:00
// to 02:00 (tz database).
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import {
  isoLocal, minutesLeftOf, practiceDay, ruleDays, sawAct,
} from "../../src/coldtake/web/static/session/flow/dates.js";

const CASES = JSON.parse(readFileSync(new URL("../cases/days.json", import.meta.url), "utf8"));
const LIMITS = { pause_s: 4 * 3600, ahead_s: 3600 };

for (const one of CASES) {
  test(`day: ${one.name}`, () => {
    process.env.TZ = one.zone;
    const { acted, planned = {} } = one;
    ruleDays({ acted, planned, ...LIMITS });
    assert.equal(practiceDay(Date.parse(one.now)), one.day);
  });
}

test("what the page itself sees keeps the evening going, what the tool says does not", () => {
  process.env.TZ = "Europe/Vienna";
  const now = Date.parse("2027-01-13T03:00:00+01:00");
  const event = (at, data) => ({ id: at, at, day: "2027-01-12", data });
  ruleDays({ acted: { "2027-01-12": "2027-01-12T22:00:00+01:00" }, planned: {}, ...LIMITS });
  assert.equal(practiceDay(now), "2027-01-13");
  const late = "2027-01-13T02:30:00+01:00";
  sawAct(event(late, { kind: "take_judged" }));
  sawAct(event(late, { kind: "session_ended" }));
  sawAct(event(late, { kind: "try_answered", judge: "tool" }));
  assert.equal(practiceDay(now), "2027-01-13");
  sawAct(event("2027-01-13T00:30:00+01:00", { kind: "slot_ended" }));
  sawAct(event("2027-01-12T21:00:00+01:00", { kind: "slot_ended" }));
  assert.equal(practiceDay(now), "2027-01-12");
});

test("how late a plan is goes by the date of its start, in whole minutes", () => {
  process.env.TZ = "Europe/Vienna";
  const request = { day: "2027-01-12", starts_on: "2027-01-13", starts_at: "00:30:00", minutes: 60 };
  const plan = { request, rules: { break_min: 5 }, run: null };
  const at = (text) => minutesLeftOf(plan, 60, Date.parse(`2027-01-13T${text}+01:00`));
  assert.equal(at("00:34:00"), null, "five minutes are nobody's fault");
  assert.equal(at("00:40:00"), 50);
  assert.equal(at("00:40:01"), 49, "nothing is made up by overrunning");
  assert.equal(at("01:26:00"), null, "over");
});

test("an instant carries the distance to UTC of its own moment", () => {
  process.env.TZ = "Europe/Vienna";
  assert.equal(isoLocal(Date.parse("2027-10-31T00:30:00Z")), "2027-10-31T02:30:00.000+02:00");
  assert.equal(isoLocal(Date.parse("2027-10-31T01:30:00Z")), "2027-10-31T02:30:00.000+01:00");
});
