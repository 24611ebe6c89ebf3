// The stand's page: how large staves are, and how systems are shared out and turned.

import assert from "node:assert/strict";
import { test } from "node:test";

import {
  engravedWidth,
  seenGroups,
  shareOut,
  staveHeight,
} from "../../src/coldtake/web/static/session/view/music-page.js";

const CM_PX = 96 / 2.54; // CSS Values and Units Module Level 4 (W3C, 2024), section 6.2: 96px is 2.54cm

test("a stave is a centimetre high on a tablet, eight millimetres on a phone", () => {
  for (const width of [768, 820, 1180, 1440, 1920]) assert.ok(staveHeight(width) >= CM_PX, `${width}`);
  for (const width of [360, 390, 430]) assert.ok(staveHeight(width) >= 0.79 * CM_PX, `${width}`);
});

test("larger music is engraved for a narrower page", () => {
  for (const width of [390, 820, 1440]) {
    assert.ok(engravedWidth(width, 1.5) < engravedWidth(width, 1));
    assert.ok(engravedWidth(width, 0.7) > engravedWidth(width, 1));
  }
});

test("everything is in sight where it fits", () => {
  assert.deepEqual(shareOut([100, 100, 100], 300), { groups: [[0, 1, 2]], halves: 1 });
});

test("what does not fit is shared out, every system once, in order, and neighbours fit together", () => {
  for (const heights of [
    [100, 100, 100, 100],
    [140, 90, 90, 90, 160, 90, 90],
    [80, 200, 80, 80, 80, 80, 80, 80, 80],
    Array.from({ length: 40 }, (_, i) => 70 + ((i * 37) % 50)),
  ]) {
    for (const room of [250, 320, 500]) {
      const { groups, halves } = shareOut(heights, room);
      assert.deepEqual(groups.flat(), heights.map((_, i) => i));
      const high = groups.map((group) => group.reduce((sum, i) => sum + heights[i], 0));
      if (halves === 2) high.slice(1).forEach((h, i) => assert.ok(h + high[i] <= room));
    }
  }
});

test("a system higher than half the window stands alone", () => {
  assert.deepEqual(shareOut([200, 200, 200], 300), { groups: [[0], [1], [2]], halves: 1 });
});

test("the half that was played is exchanged, the other stays where it is", () => {
  assert.deepEqual(seenGroups(0, 4, 2), [0, 1]);
  assert.deepEqual(seenGroups(1, 4, 2), [2, 1]);
  assert.deepEqual(seenGroups(2, 4, 2), [2, 3]);
  assert.deepEqual(seenGroups(3, 4, 2), [2, 3], "at the end the part before stays");
  assert.deepEqual(seenGroups(0, 1, 2), [0]);
  assert.deepEqual(seenGroups(2, 5, 1), [2]);
});
