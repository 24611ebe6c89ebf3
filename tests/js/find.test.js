// @ts-check
import assert from "node:assert/strict";
import { test } from "node:test";
import { matches } from "../../src/coldtake/web/static/js/find.js";

test("every word must stand in the title, in any case and without its accents", () => {
  assert.ok(matches("etude", "Étude in thirds"));
  assert.ok(matches("ÉTUDE thirds", "Etude in Thirds"));
  assert.ok(matches("  ", "Anything"));
  assert.ok(matches("in", "Étude in thirds"));
  assert.ok(!matches("etude fourths", "Étude in thirds"));
});
