// @ts-check
// The player's beats and frames, and which bars are meant: numbers against definitions.
import assert from "node:assert/strict";
import { test } from "node:test";

import { BarChoice } from "../../src/coldtake/web/static/sound/bar-choice.js";
import { limited } from "../../src/coldtake/web/static/sound/mixer.js";
import { clickSounds, layOut, swung, tempoOf } from "../../src/coldtake/web/static/sound/timeline.js";
import { Transport } from "../../src/coldtake/web/static/sound/transport.js";
import { tuned } from "../../src/coldtake/web/static/sound/voices.js";

const RATE = 48_000;
// The metronome series round 60: common practice, no source.
const MARKS = [54, 56, 58, 60, 63, 66, 69, 72, 76, 80];

/** A pick-up of one quarter, then bars of four; bars 1 and 2 are played twice. */
const MEASURES = ["p", "a", "b", "a", "b", "c"];
const BARS = MEASURES.map((measure, i) => ({
  label: { p: "0", a: "1", b: "2", c: "3" }[measure] ?? "",
  measure,
  onset: i ? 1 + 4 * (i - 1) : 0,
  beats: i ? 4 : 1,
  metre: /** @type {[number, number]} */ ([4, 4]),
}));
const NOTES = BARS.flatMap((bar, i) =>
  Array.from({ length: bar.beats * 2 }, (_, k) => ({
    id: `n${i}-${k}`,
    heads: [`h${bar.measure}${k}`],
    onset: bar.onset + k / 2,
    beats: 0.5,
    pitch: 60 + k,
  })),
);
const SCORE = {
  title: "",
  notes: NOTES,
  bars: BARS,
  band: [],
  a4Hz: 440,
  marks: MARKS,
  tunings: { equal: Array(12).fill(0) },
  tonic: 0,
  bpm: 60,
  unit: 1,
};
const HOW = {
  bpm: 60,
  first: 0,
  last: 5,
  times: 1,
  countBars: 0,
  countEach: false,
  unit: 1,
  click: { beats: [], every: 1, sound: 1, silent: 0 },
  swing: 0.5,
  ramp: { every: 0, to: 0 },
  voice: "struck",
  levels: { tune: 1, click: 1, drone: 0, bass: 1, chords: 1 },
  drone: [],
  tonic: 0,
  tuning: "equal",
};

/** Everything of a run, asked for block by block as the audio thread does. */
function run(how, seconds, frame = 1000) {
  const transport = new Transport(RATE);
  transport.play(SCORE, { ...HOW, ...how }, frame);
  const found = [];
  for (let end = 128; end < seconds * RATE; end += 128) found.push(...transport.until(end));
  return { found, transport };
}
const clicks = (found) => found.filter((f) => f.event.kind === "click");
const notes = (found) => found.filter((f) => f.event.kind === "note");

test("notes fall on the frame nearest to their beat, through an odd tempo", () => {
  const { found } = run({ bpm: 73 }, 25);
  const got = notes(found).map((f) => f.frame);
  assert.deepEqual(got, NOTES.map((n) => Math.round(1000 + (n.onset * 60 * RATE) / 73)));
});

test("a count-in of one bar before a pick-up has three beats, then the pick-up", () => {
  const { found } = run({ countBars: 1 }, 30);
  const frames = clicks(found).map((f) => (f.frame - 1000) / RATE);
  assert.deepEqual(frames.slice(0, 5), [0, 1, 2, 3, 4]);
  assert.equal((notes(found)[0].frame - 1000) / RATE, 3, "the pick-up is beat four");
  const accents = clicks(found).filter((f) => f.event.place === 0).map((f) => (f.frame - 1000) / RATE);
  assert.deepEqual(accents.slice(0, 3), [0, 4, 8], "the first full bar begins on a first beat");
});

test("some bars again and again: no frame is lost at the seam", () => {
  const { found } = run({ first: 1, last: 2, times: 3, bpm: 77 }, 25);
  const got = notes(found).map((f) => f.frame);
  const beat = (60 * RATE) / 77;
  const expected = [];
  for (let k = 0; k < 3 * 16; k++) expected.push(Math.round(1000 + (k * beat) / 2));
  assert.deepEqual(got, expected);
});

test("one mark faster after every second time, never beyond the goal", () => {
  const how = { ...HOW, ramp: { every: 2, to: 68 } };
  const got = [0, 1, 2, 3, 4, 5, 6, 7, 8].map((pass) => tempoOf(how, pass, MARKS));
  assert.deepEqual(got, [60, 60, 63, 63, 66, 66, 68, 68, 68]);
  const dotted = { ...HOW, bpm: 90, unit: 1.5, ramp: { every: 1, to: 66 } };
  assert.equal(tempoOf(dotted, 1, MARKS), 63 * 1.5, "marks count the beat, not the quarter");
  assert.equal(tempoOf({ ...how, ramp: { every: 1, to: 40 } }, 5, MARKS), 60, "never slower");
});

test("clicks on two and four, every second bar, silent for two bars of four", () => {
  const heard = (click) =>
    clicks(run({ first: 1, last: 4, click: { ...HOW.click, ...click } }, 20).found).map((f) =>
      Math.round((f.frame - 1000) / RATE),
    );
  assert.deepEqual(heard({ beats: [false, true, false, true] }), [1, 3, 5, 7, 9, 11, 13, 15]);
  assert.deepEqual(heard({ every: 2 }), [0, 1, 2, 3, 8, 9, 10, 11]);
  assert.deepEqual(heard({ sound: 2, silent: 2 }), [0, 1, 2, 3, 4, 5, 6, 7]);
  const three = { ...HOW, click: { ...HOW.click, sound: 2, silent: 1 } };
  const event = layOut(SCORE, { ...three, first: 1, last: 2 }).events.find((e) => e.kind === "click");
  const bars = [0, 1, 2, 3].map((pass) => event && clickSounds(event, three, pass, 2));
  assert.deepEqual(bars, [true, false, true, true], "bars 0, 2, 4 and 6 of two with, one without");
});

test("swing moves the off-beat eighth alone", () => {
  assert.deepEqual([0, 0.25, 1 / 3, 0.5, 2 / 3, 0.75].map((b) => swung(b, 2 / 3)), [
    0, 0.25, 1 / 3, 2 / 3, 2 / 3, 0.75,
  ]);
  const { found } = run({ first: 1, last: 1, swing: 2 / 3 }, 6);
  const at = notes(found).map((f) => ((f.frame - 1000) / RATE).toFixed(3));
  assert.deepEqual(at.slice(0, 4), ["0.000", "0.667", "1.000", "1.667"]);
  const pickup = notes(run({ swing: 2 / 3 }, 3).found);
  assert.equal(((pickup[1].frame - 1000) / RATE).toFixed(3), "0.667", "in a pick-up too");
});

test("another tempo while it plays goes on from the same place", () => {
  const transport = new Transport(RATE);
  const segments = [];
  transport.onSegment = (s) => segments.push(s);
  transport.play(SCORE, { ...HOW, first: 1, last: 2, times: 0 }, 0);
  const before = transport.until(2.25 * RATE);
  transport.change({ ...HOW, first: 1, last: 2, times: 0, bpm: 120 }, 2.25 * RATE);
  const after = transport.until(4 * RATE);
  assert.equal(notes(before).at(-1)?.event.beat, 2);
  assert.equal(notes(after)[0].event.beat, 2.5);
  assert.equal(notes(after)[0].frame, 2.25 * RATE + 0.25 * (RATE / 2));
  assert.equal(segments.length, 2);
});

test("it ends after its times and says so", () => {
  const transport = new Transport(RATE);
  const told = [];
  transport.onSegment = (s) => told.push(s && s.kind);
  transport.play(SCORE, { ...HOW, first: 1, last: 1, times: 2, countBars: 1, countEach: true }, 0);
  transport.until(60 * RATE);
  assert.deepEqual(told, ["count", "play", "count", "play", null]);
});

test("a tuning turns the tones, not the tonic", () => {
  // Just major third 5/4: 386.31 cents, 13.69 below the equal one (ratios of 5-limit intonation).
  const just = [0, 0, 0, 0, -13.6863, 0, 0, 1.955, 0, 0, 0, 0];
  assert.equal(tuned(62, 2, just), 62);
  assert.equal(tuned(66, 2, just), 66 - 0.136863);
  assert.equal(tuned(57, 2, just), 57 + 0.01955, "below the tonic too");
});

test("nothing passes full scale", () => {
  for (const x of [0, 0.5, -0.75, 1, -3, 40]) assert.ok(Math.abs(limited(x)) <= 1);
  assert.equal(limited(0.5), 0.5);
});

test("two touches choose bars, in either order; a third begins again", () => {
  const choice = new BarChoice(BARS);
  choice.point("p");
  assert.deepEqual([choice.range, choice.half], [{ first: 0, last: 0 }, true]);
  choice.point("b");
  assert.deepEqual([choice.range, choice.half], [{ first: 0, last: 2 }, false]);
  assert.equal(choice.words(), "Pick-up to bar 2");
  choice.point("c");
  choice.point("a");
  assert.deepEqual(choice.range, { first: 3, last: 5 }, "the nearest playing before");
  choice.point("c");
  assert.equal(choice.words(), "Bar 3");
});

test("a bar under a repeat can mean each of its times, or both", () => {
  const choice = new BarChoice(BARS);
  choice.point("a");
  choice.point("b");
  assert.equal(choice.words(), "Bars 1 to 2, first time");
  assert.deepEqual(choice.readings().map((r) => choice.words(r)), [
    "Bars 1 to 2, first time",
    "Bars 1 to 2 with the repeat, 4 bars as played",
    "Bars 1 to 2, second time",
  ]);
  assert.ok(choice.holds("a") && choice.holds("b") && !choice.holds("c"));
  choice.set({ first: 3, last: 4 });
  assert.equal(choice.words(), "Bars 1 to 2, second time");
  choice.set(null);
  assert.equal(choice.words(), "All bars");
});
