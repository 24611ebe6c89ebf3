// @ts-check
// The tuner against definitions: tones of known frequency, ratios, real notes.
import assert from "node:assert/strict";
import { existsSync, readFileSync } from "node:fs";
import { test } from "node:test";

import { PitchFinder, WINDOW } from "../../src/coldtake/web/static/session/audio/pitch.js";
import { MedianFilter, centsWords } from "../../src/coldtake/web/static/session/tuner/median-filter.js";
import { frequency, named, nearest } from "../../src/coldtake/web/static/session/tuner/tuning.js";

const EQUAL = /** @type {const} */ ({ a4: 440, temper: "equal", tonic: 0 });
const apart = (/** @type {number} */ a, /** @type {number} */ b) => 1200 * Math.log2(a / b);

/** Steady noise from a fixed seed. */
function noise(/** @type {number} */ seed) {
  let state = seed;
  return () => {
    state = (state * 1664525 + 1013904223) >>> 0;
    return state / 2 ** 31 - 1;
  };
}

/** A tone with partials falling as 1/n, the fundamental weak if asked. */
function tone(/** @type {number} */ hz, /** @type {number} */ rate, weak = 1, hiss = 0) {
  const random = noise(7);
  return Float32Array.from({ length: WINDOW }, (_, i) => {
    let x = hiss * random();
    for (let n = 1; n <= 8 && n * hz < 0.45 * rate; n++) {
      x += ((n === 1 ? weak : 1) * 0.2 * Math.sin((2 * Math.PI * n * hz * i) / rate + n * n)) / n;
    }
    return x;
  });
}

for (const rate of [44_100, 48_000]) {
  test(`synthetic tones are met within 1 cent at ${rate} Hz`, (t) => {
    const finder = new PitchFinder(rate);
    const errors = [];
    for (let pitch = 21; pitch <= 108; pitch += 3) {
      for (const off of [-0.37, 0.21]) {
        const hz = 440 * 2 ** ((pitch + off - 69) / 12);
        // A weak fundamental is a thing of low tones; no instrument has one in its highest octaves.
        for (const [weak, hiss] of [[hz < 1500 ? 0.1 : 1, 0], [1, 0.01]]) {
          const found = finder.find(tone(hz, rate, weak, hiss));
          assert.ok(found, `nothing at ${hz} Hz`);
          errors.push(Math.abs(apart(found.hz, hz)));
        }
      }
    }
    errors.sort((a, b) => a - b);
    const [half, most, worst] = [0.5, 0.95, 1].map((q) => errors[Math.ceil(q * errors.length) - 1]);
    t.diagnostic(`cents: median ${half.toFixed(4)}, 95 % ${most.toFixed(4)}, worst ${worst.toFixed(4)}`);
    assert.ok(worst < 1, `${worst}`);
  });
}

test("silence and hiss are no tone", () => {
  const finder = new PitchFinder(48_000);
  const random = noise(3);
  assert.equal(finder.find(new Float32Array(WINDOW)), null);
  assert.equal(finder.find(Float32Array.from({ length: WINDOW }, random)), null);
});

// Sizes of intervals: D. Benson, Music: A Mathematical Offering, Cambridge 2006, ch. 5; computed
// from the ratios themselves.
const JUST = [0, 111.731285, 203.910002, 315.641287, 386.313714, 498.044999, 590.223716, 701.955001,
  813.686286, 884.358713, 1017.596288, 1088.268715];
const PURE = [0, 90.224996, 203.910002, 294.134997, 407.820003, 498.044999, 611.730005, 701.955001,
  792.179997, 905.865003, 996.089998, 1109.775004];

test("just and Pythagorean steps above a tonic", () => {
  for (const [temper, steps] of /** @type {const} */ ([["just", JUST], ["pythagorean", PURE]])) {
    const tuning = { a4: 442, temper, tonic: 2 };
    const tonic = frequency(62, { ...tuning, temper: "equal" });
    steps.forEach((cents, k) => {
      assert.ok(Math.abs(apart(frequency(62 + k, tuning), tonic) - cents) < 1e-5, `${temper} ${k}`);
      assert.ok(Math.abs(apart(frequency(50 + k, tuning), tonic) + 1200 - cents) < 1e-5);
    });
  }
});

test("the nearest note for every A4 and tuning", () => {
  for (const a4 of [392, 415, 440, 442, 466]) {
    for (const temper of /** @type {const} */ (["equal", "just", "pythagorean"])) {
      const tuning = { a4, temper, tonic: 7 };
      for (const pitch of [28, 60, 66, 69, 70, 93]) {
        const found = nearest(frequency(pitch, tuning) * 2 ** (13 / 1200), tuning);
        assert.equal(found.pitch, pitch);
        assert.ok(Math.abs(found.cents - 13) < 1e-6);
      }
    }
  }
  assert.equal(nearest(440, EQUAL).pitch, 69);
  assert.ok(Math.abs(frequency(60, { ...EQUAL, a4: 442 }) - 262.8148) < 1e-4); // ISO 16, computed
});

test("names, also as a transposing instrument reads them", () => {
  assert.deepEqual(named(69), { name: "A", octave: 4 });
  assert.deepEqual(named(58, 2), { name: "C", octave: 4 });
  assert.deepEqual([1.6, -3.2, 12].map(centsWords), ["in tune", "3 cents flat", "12 cents sharp"]);
});

test("the figure stands still through slips, and follows a new note at once", () => {
  const steady = new MedianFilter();
  for (let i = 0; i < 10; i++) steady.hear(i === 5 ? 880 : 440 * 2 ** ((i % 2 ? 6 : 4) / 1200), 50 * i);
  const held = steady.figure(EQUAL, 480);
  assert.equal(held?.pitch, 69);
  assert.ok(Math.abs((held?.cents ?? 0) - 5) <= 1.001 && held?.steady);
  steady.hear(493.88, 500);
  steady.hear(493.88, 550);
  assert.equal(steady.figure(EQUAL, 560)?.pitch, 71);
  assert.equal(steady.figure(EQUAL, 1200), null, "a tone that is over is not shown for ever");
});

/** Samples of a mono PCM WAV file of 16 or 24 bits. */
function wav(/** @type {string} */ path) {
  const file = readFileSync(path);
  let at = 12;
  let rate = 0;
  let bytes = 2;
  let channels = 1;
  for (;;) {
    const name = file.toString("latin1", at, at + 4);
    const size = file.readUInt32LE(at + 4);
    if (name === "fmt ") {
      [channels, rate, bytes] = [file.readUInt16LE(at + 10), file.readUInt32LE(at + 12), file.readUInt16LE(at + 22) / 8];
    }
    if (name === "data") {
      const count = Math.floor(size / bytes / channels);
      const one = (/** @type {number} */ i) => file.readIntLE(at + 8 + i * bytes * channels, bytes);
      return { rate, samples: Float32Array.from({ length: count }, (_, i) => one(i) / 2 ** (8 * bytes - 1)) };
    }
    at += 8 + size + (size % 2);
  }
}

// Single notes of C. E. Cella et al., TinySOL: an audio dataset of isolated musical notes, 2020,
// CC BY 4.0, beside the project; their frequencies were measured apart from this code.
const DATA = new URL("../../../shared/data/tinysol/audio/", import.meta.url);
const REAL = /** @type {const} */ ([
  ["Winds/Flute/ordinario/Fl-ord-C4-mf-N-T14d.wav", 261.78, 60, 1.0],
  ["Strings/Contrabass/ordinario/Cb-ord-A2-mf-2c-N.wav", 110.569, 45, 8.9],
]);
for (const [path, hz, pitch, above] of REAL) {
  const there = existsSync(new URL(path, DATA));
  test(`a real note within 2 cents: ${path}`, { skip: there ? false : "no open recordings here" }, (t) => {
    const { rate, samples } = wav(new URL(path, DATA).pathname);
    const finder = new PitchFinder(rate);
    const steady = new MedianFilter();
    /** @type {number[]} */
    const shown = [];
    for (let at = 0; at + WINDOW <= samples.length; at += rate / 20) {
      const from = Math.round(at);
      const ms = (1000 * (from + WINDOW)) / rate;
      steady.hear(finder.find(samples.subarray(from, from + WINDOW))?.hz ?? null, ms);
      const figure = steady.figure(EQUAL, ms);
      if (!figure?.steady) continue;
      assert.equal(figure.pitch, pitch);
      shown.push(figure.cents);
    }
    assert.ok(shown.length > 10, "the note was hardly heard");
    shown.sort((a, b) => a - b);
    const off = shown.map((c) => Math.abs(c - above)).sort((a, b) => a - b);
    const middle = shown[Math.floor(shown.length / 2)];
    t.diagnostic(
      `${hz} Hz: shown ${middle.toFixed(2)} cents; off, median ${off[off.length >> 1].toFixed(2)}, ` +
        `95 % ${off[Math.floor(0.95 * off.length)].toFixed(2)}, worst ${off.at(-1)?.toFixed(2)}`,
    );
    assert.ok(Math.abs(middle - above) < 2, `${middle} instead of ${above}`);
  });
}
