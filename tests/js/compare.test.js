// @ts-check
import assert from "node:assert/strict";
import { test } from "node:test";
import { there } from "../../src/coldtake/web/static/js/compare.js";

const anchors = [
  [1, 3],
  [2, 5],
  [4, 6],
];

test("an anchor of one take is that of the other", () => {
  for (const [a, b] of anchors) {
    assert.equal(there(a, anchors, 0), b);
    assert.equal(there(b, anchors, 1), a);
  }
});

test("between two anchors the way is straight, in both directions", () => {
  assert.equal(there(1.5, anchors, 0), 4);
  assert.equal(there(5.5, anchors, 1), 3);
  for (let at = 1; at <= 4; at += 0.1) {
    assert.ok(Math.abs(there(there(at, anchors, 0), anchors, 1) - at) < 1e-9);
  }
});

test("before the first and after the last the distance stays, and nothing lies before the start", () => {
  assert.equal(there(0.5, anchors, 0), 2.5);
  assert.equal(there(5, anchors, 0), 7);
  assert.equal(there(1, anchors, 1), 0);
  assert.equal(there(2, [], 0), 2);
});
