// @ts-check
// The page's practice day agrees with the server's: by the wall clock, and never back.
// Changes of summer time in Vienna 2027: 28 March 02:00 to 03:00, 31 October 03:00 to 02:00.
process.env.TZ = "Europe/Vienna";
import assert from "node:assert/strict";
import { test } from "node:test";

import { isoLocal, practiceDay, ruleDays } from "../../src/coldtake/web/static/session/when.js";

const day = (/** @type {string} */ instant) => practiceDay(Date.parse(instant));

test("the day turns at four by the wall clock, also when the hours are not equal", () => {
  ruleDays(4, "");
  assert.equal(day("2027-03-28T03:59:00+02:00"), "2027-03-27");
  assert.equal(day("2027-03-28T04:00:00+02:00"), "2027-03-28");
  assert.equal(day("2027-10-31T02:30:00+02:00"), "2027-10-30");
  assert.equal(day("2027-10-31T02:30:00+01:00"), "2027-10-30");
  assert.equal(day("2027-10-31T03:59:00+01:00"), "2027-10-30");
  assert.equal(day("2027-10-31T04:00:00+01:00"), "2027-10-31");
  assert.equal(day("2027-03-01T01:00:00+01:00"), "2027-02-28");
});

test("the hour is the player's setting", () => {
  ruleDays(0, "");
  assert.equal(day("2027-01-12T00:00:00+01:00"), "2027-01-12");
  ruleDays(12, "");
  assert.equal(day("2027-01-12T11:59:00+01:00"), "2027-01-11");
});

test("a day that was reached is held, one far ahead is not", () => {
  ruleDays(4, "2027-01-13");
  assert.equal(day("2027-01-12T20:00:00+01:00"), "2027-01-13");
  assert.equal(day("2027-01-13T03:00:00+01:00"), "2027-01-13");
  assert.equal(day("2027-01-14T12:00:00+01:00"), "2027-01-14");
  assert.equal(day("2027-01-11T20:00:00+01:00"), "2027-01-11");
});

test("an instant carries the distance to UTC of its own moment", () => {
  assert.equal(isoLocal(Date.parse("2027-10-31T00:30:00Z")), "2027-10-31T02:30:00.000+02:00");
  assert.equal(isoLocal(Date.parse("2027-10-31T01:30:00Z")), "2027-10-31T02:30:00.000+01:00");
});
