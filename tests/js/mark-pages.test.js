// @ts-check
import assert from "node:assert/strict";
import test from "node:test";

import { inOrder, partOn, shownSystems, touchedPart } from "../../src/coldtake/web/static/js/mark-pages.js";
import { longer, onPage } from "../../src/coldtake/web/static/js/pencil.js";

test("a touch takes the whole system, or the place where none is", () => {
  const systems = shownSystems([[0.1, 0.3], [0.3, 0.5]], [0, 0.1, 1, 0.6]);
  assert.deepEqual(systems.map((s) => s.map(Math.round)), [[0, 40], [40, 80]]);
  assert.deepEqual(touchedPart(50, systems).map(Math.round), [40, 80]);
  assert.deepEqual(touchedPart(90, systems), [90, 90]);
});

test("the order of two touches does not matter", () => {
  const [a, b] = [{ page: 1, top: 40, bottom: 80 }, { page: 1, top: 0, bottom: 40 }];
  assert.deepEqual(inOrder(a, b), [b, a]);
  assert.deepEqual(inOrder(b, a), [b, a]);
  assert.deepEqual(inOrder(a, { ...b, page: 2 }), [a, { ...b, page: 2 }]);
});

test("a stretch over several pages covers those between", () => {
  const [first, last] = [{ page: 1, at: 60 }, { page: 3, at: 20 }];
  assert.deepEqual([1, 2, 3, 4].map((page) => partOn(page, first, last)), [[60, 100], [0, 100], [0, 20], null]);
});

test("pencil: places are those of the whole page, and a resting hand adds no points", () => {
  assert.deepEqual(onPage(0.5, 0.5, [0.2, 0, 0.8, 0.5]), [5000, 2500]);
  assert.deepEqual(longer([5000, 2500], [5003, 2501]), [5000, 2500]);
  assert.deepEqual(longer([5000, 2500], [5100, 2501]), [5000, 2500, 5100, 2501]);
});
