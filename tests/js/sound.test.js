// @ts-check
// Clicks, files, take ends: numbers against definitions, not against the code.
import assert from "node:assert/strict";
import { test } from "node:test";

import {
  clicksWithin,
  clickFrame,
  countIn,
  samplesPerBeat,
} from "../../src/coldtake/web/static/session/audio/clicks.js";
import { TakeEnd, levelAdvice } from "../../src/coldtake/web/static/session/audio/take-end.js";
import { Dropouts } from "../../src/coldtake/web/static/session/audio/dropouts.js";
import { encodeWav, lostFrames, placed } from "../../src/coldtake/web/static/session/keeping/wav.js";

const PLAN = { f0: 1000, samplesPerBeat: 0, count: Infinity, perBar: 4, accentOffset: 0, volume: 1 };

test("the distance of clicks", () => {
  assert.equal(samplesPerBeat(48000, 60, 1), 48000);
  assert.equal(samplesPerBeat(44100, 120, 0.5), 11025, "eighths at quarter = 120");
  assert.equal(samplesPerBeat(48000, 90, 1.5), 48000, "dotted quarter = 60");
});

test("every click is within half a sample of its ideal place after an hour", () => {
  const plan = { ...PLAN, samplesPerBeat: samplesPerBeat(44100, 92, 1) };
  for (const k of [0, 1, 92, 5520]) {
    const ideal = plan.f0 + (k * 60 * 44100) / 92;
    assert.ok(Math.abs(clickFrame(plan, k) - ideal) <= 0.5);
  }
});

test("blocks of 128 frames find every click once, whatever the tempo", () => {
  for (const spb of [28665.217, 127.3, 44100, 128]) {
    const plan = { ...PLAN, samplesPerBeat: spb, count: 40 };
    const found = [];
    for (let from = 0; from < 1000 + spb * 41; from += 128)
      found.push(...clicksWithin(plan, from, 128));
    assert.deepEqual(
      found.map((c) => c.frame),
      Array.from({ length: 40 }, (_, k) => 1000 + Math.round(k * spb)),
    );
    assert.deepEqual(found.slice(0, 5).map((c) => c.accent), [true, false, false, false, true]);
  }
});

test("a count-in leaves room for a pick-up", () => {
  const click = { beat_unit_beats: 1, beats_per_bar: 4, count_in_bars: 1 };
  assert.deepEqual(countIn(click, 0), { clicks: 4, accentOffset: 0, leadClicks: 4, firstBar: 4 });
  assert.deepEqual(countIn(click, 1), { clicks: 3, accentOffset: 0, leadClicks: 3, firstBar: 4 });
  assert.deepEqual(countIn(click, 0.5), { clicks: 4, accentOffset: 0, leadClicks: 3.5, firstBar: 4 });
  assert.deepEqual(countIn({ ...click, count_in_bars: 0 }, 0).clicks, 0);
  // Six-eight, clicked in dotted quarters, pick-up of one eighth.
  const compound = countIn({ beat_unit_beats: 1.5, beats_per_bar: 2, count_in_bars: 2 }, 0.5);
  assert.ok(Math.abs(compound.leadClicks - (4 - 1 / 3)) < 1e-12);
  assert.equal(compound.accentOffset, 0);
});

test("a WAV file by the letter: header, sizes, 24-bit values", () => {
  const view = new DataView(encodeWav(Float32Array.of(0, 1, -1, 0.5, -2), 44100));
  const word = (at) => String.fromCharCode(...new Uint8Array(view.buffer, at, 4));
  assert.deepEqual([word(0), word(8), word(12), word(36)], ["RIFF", "WAVE", "fmt ", "data"]);
  assert.equal(view.getUint32(4, true), view.byteLength - 8);
  assert.equal(view.getUint32(24, true), 44100);
  assert.equal(view.getUint32(28, true), 132300);
  assert.equal(view.getUint32(40, true), 15);
  assert.equal(view.byteLength % 2, 0, "chunks are padded to even length");
  const value = (i) => (view.getInt16(44 + 3 * i + 1, true) << 8) | view.getUint8(44 + 3 * i);
  assert.deepEqual([0, 1, 2, 3, 4].map(value), [0, 8388607, -8388607, 4194304, -8388607]);
});

test("batches lie where their frames say; lost frames are silence and are counted", () => {
  const batches = [
    { frame: 105, samples: Float32Array.of(3, 4) },
    { frame: 100, samples: Float32Array.of(1, 2) },
  ];
  assert.deepEqual([...placed(batches)], [1, 2, 0, 0, 0, 3, 4]);
  assert.equal(lostFrames(batches), 3);
  assert.equal(lostFrames([batches[1], { frame: 102, samples: Float32Array.of(1) }]), 0);
});

/** A take heard in tenths of a second. */
function endOf(take, levelAt, most = 400) {
  for (let t = 0; t < most; t += 0.1) {
    take.hear(levelAt(t), t);
    if (take.isOver(t)) return Math.round(t * 10) / 10;
  }
  return null;
}

test("a take ends after the passage and its tail", () => {
  const end = endOf(new TakeEnd(8, 0, 0.001), (t) => (t < 8.2 ? 0.1 : 0.001));
  assert.ok(end >= 9 && end <= 9.2, `${end}`);
});

test("a slower player is not cut off; stopping in the middle ends it after three seconds", () => {
  assert.ok(endOf(new TakeEnd(8, 0, 0.001), (t) => (t < 12 ? 0.1 : 0)) > 12.4);
  const stopped = endOf(new TakeEnd(30, 0, 0.001), (t) => (t < 5 ? 0.1 : 0.0005));
  assert.ok(stopped > 7.8 && stopped < 8.3, `${stopped}`);
  const rests = endOf(new TakeEnd(30, 4, 0.001), (t) => (t < 5 || (t > 9 && t < 30) ? 0.1 : 0));
  assert.ok(rests > 30, "a written rest is no stop");
});

test("nobody plays: it ends after the length; noise that never stops: after a bounded time", () => {
  assert.ok(endOf(new TakeEnd(8, 0, 0.001), () => 0.001) < 9.2);
  assert.equal(endOf(new TakeEnd(8, 0, 0.001), () => 0.2), 30);
  assert.ok(endOf(new TakeEnd(null, 0, 0.001), () => 0.2) < 300.2);
});

test("advice on the level is one sentence or none", () => {
  assert.match(levelAdvice(0.3, 1, 0.001), /Too loud/);
  assert.match(levelAdvice(0.0001, 0.0003, 0.0001), /No sound/);
  assert.match(levelAdvice(0.005, 0.02, 0.003), /room/);
  assert.equal(levelAdvice(0.1, 0.4, 0.001), "");
});

/** A tone with rows of exact zeros cut into it: [from, length] in frames. */
function cut(rows, edge = () => 1) {
  const tone = Float32Array.from({ length: 48000 }, (_, i) => 0.3 * Math.sin(0.06 * i + 1) * edge(i));
  for (const [from, length] of rows) tone.fill(0, from, from + length);
  return tone;
}
const holesIn = (tone) => {
  const holes = new Dropouts();
  for (let i = 0; i < tone.length; i += 128) holes.see(tone.subarray(i, i + 128));
  return holes.count;
};

test("blocks of nothing in the middle of a sound are holes; rests and fades are not", () => {
  assert.equal(holesIn(cut([])), 0);
  assert.equal(holesIn(cut([[9993, 480]])), 1);
  assert.equal(holesIn(cut([[9993, 480], [20051, 128], [30150, 4410]])), 3);
  assert.equal(holesIn(cut([[10000, 30]])), 0, "shorter than any queue's block");
  assert.equal(holesIn(cut([[10000, 20000]])), 0, "silence");
  const fade = (i) => Math.min(1, Math.abs(i - 20000) / 2000); // to nothing and back
  assert.equal(holesIn(cut([[19960, 80]], fade)), 0, "a fade to nothing is a rest");
  assert.equal(holesIn(new Float32Array(48000)), 0);
});

test("a recording that began late has lost its beginning", () => {
  const batches = [{ frame: 100, samples: Float32Array.of(1, 2) }];
  assert.equal(lostFrames(batches, 100), 0);
  assert.equal(lostFrames(batches, 90), 10);
});

/** Which of the first clicks after a bar of count-in sound, as "bar.beat". */
function sounding(pattern, perBar = 4, bars = 6) {
  const plan = { ...PLAN, f0: 0, samplesPerBeat: 1000, perBar, count: perBar * (bars + 1) };
  const all = { from: perBar, firstBar: perBar, beats: [], barsOn: 1, barsOff: 0, ...pattern };
  return clicksWithin({ ...plan, pattern: all }, 0, 1e6).map(({ frame }) => {
    const k = Math.round(frame / 1000) - perBar;
    return `${Math.floor(k / perBar) + 1}.${(((k % perBar) + perBar) % perBar) + 1}`;
  });
}

test("the click on chosen beats, in every third bar, silent for two bars in four", () => {
  const countIn = ["0.1", "0.2", "0.3", "0.4"];
  assert.deepEqual(sounding({ beats: [2, 4] }, 4, 2), [...countIn, "1.2", "1.4", "2.2", "2.4"]);
  assert.deepEqual(sounding({ barsOff: 2, beats: [1] }), [...countIn, "1.1", "4.1"]);
  const half = sounding({ barsOn: 2, barsOff: 2, beats: [1] });
  assert.deepEqual(half, [...countIn, "1.1", "2.1", "5.1", "6.1"]);
  assert.equal(sounding({}).length, 28, "without a pattern all sound");
});
