// @ts-check
// The level check on sounds made to each finding.
import assert from "node:assert/strict";
import { test } from "node:test";

import { LevelCheck } from "../../src/coldtake/web/static/session/audio/level.js";
import { WINDOW } from "../../src/coldtake/web/static/session/audio/pitch.js";

const RATE = 48_000;

/** Ten seconds of a sound, as the page would hear it. @param {(t: number) => number} sound */
function checked(sound) {
  const check = new LevelCheck();
  const step = RATE / 10;
  for (let tenth = 0; tenth < 100; tenth++) {
    let square = 0;
    let peak = 0;
    for (let i = 0; i < step; i++) {
      const x = Math.max(-1, Math.min(1, sound((tenth * step + i) / RATE)));
      square += x * x;
      peak = Math.max(peak, Math.abs(x));
    }
    check.hear(Math.sqrt(square / step), peak);
    if (tenth % 4 === 0) {
      const window = Float32Array.from({ length: WINDOW }, (_, i) => sound(tenth / 10 + i / RATE));
      check.look(window, RATE);
    }
  }
  return check;
}

let state = 1;
const noise = () => {
  state = (state * 1664525 + 1013904223) >>> 0;
  return state / 2 ** 31 - 1;
};
const room = (/** @type {number} */ level) => level * 1.7 * noise();
const playing = (/** @type {number} */ t, /** @type {number} */ level) =>
  t > 5 && t < 8 ? level * 1.41 * Math.sin(2 * Math.PI * 294 * t) : 0;
const hum = (/** @type {number} */ t, /** @type {number} */ hz, /** @type {number} */ level) =>
  level * (Math.sin(2 * Math.PI * hz * t) + 0.7 * Math.sin(4 * Math.PI * hz * t) + 0.5 * Math.sin(6 * Math.PI * hz * t));

for (const [name, sound, finding] of /** @type {[string, (t: number) => number, string][]} */ ([
  ["silence of a room", () => room(0.0005), "waiting"],
  ["a dead input", () => 0, "dead"],
  ["good playing", (t) => room(0.0005) + playing(t, 0.1), "good"],
  ["quiet playing", (t) => room(0.0002) + playing(t, 0.006), "quiet"],
  ["clipped playing", (t) => room(0.0005) + playing(t, 1.2), "loud"],
  ["a loud room", () => room(0.02), "room"],
  ["playing in a loud room", (t) => room(0.015) + playing(t, 0.08), "near"],
  ["hum of 50 Hz", (t) => room(0.0005) + hum(t, 50, 0.004), "hum"],
  ["hum of 60 Hz under playing", (t) => room(0.0005) + hum(t, 60, 0.004) + playing(t, 0.2), "hum"],
  ["a low string is no hum", (t) => room(0.0005) + (t > 4 ? hum(t, 49, 0.1) : 0), "good"],
])) {
  test(`${name}: ${finding}`, () => {
    const check = checked(sound);
    assert.equal(check.finding, finding, check.words);
    if (name.includes("50 Hz")) assert.match(check.words, /50 Hz/);
    if (name.includes("60 Hz")) assert.match(check.words, /60 Hz/);
    assert.ok(check.words.length < 90, "one short sentence");
  });
}
