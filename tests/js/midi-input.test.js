// @ts-check
// A keyboard's messages against the standard, and a keyboard that implements Web MIDI's interface.
import assert from "node:assert/strict";
import { test } from "node:test";

import { MidiInput } from "../../src/coldtake/web/static/session/audio/midi-input.js";
import { encodeMidi, variableLength } from "../../src/coldtake/web/static/session/keeping/midi-file.js";

// Standard MIDI Files 1.0 (MIDI Manufacturers Association, 1988), table of variable-length
// quantities.
const QUANTITIES = { 0x0: "00", 0x40: "40", 0x7f: "7f", 0x80: "8100", 0x2000: "c000", 0x3fff: "ff7f",
  0x4000: "818000", 0x100000: "c08000", 0x1fffff: "ffff7f", 0x200000: "81808000", 0x8000000: "c0808000",
  0xfffffff: "ffffff7f", 137: "8109", 480: "8360", 960: "8740" };

test("variable-length quantities", () => {
  for (const [value, hex] of Object.entries(QUANTITIES)) {
    assert.equal(Buffer.from(variableLength(Number(value))).toString("hex"), hex);
  }
});

test("a file of one key pressed for half a second", () => {
  const file = Buffer.from(encodeMidi([[500, 0x80, 60, 0], [0, 0x90, 60, 64]])).toString("hex");
  const track = "00ff51030f424000903c40" + "a708803c00" + "00ff2f00"; // 5000 ticks are a7 08
  assert.equal(file, `4d54686400000006000000012710${"4d54726b"}00000014${track}`);
});

function oneKeyboard() {
  const input = { id: "a", name: "Stage piano", state: "connected", onmidimessage: /** @type {any} */ (null) };
  const access = { inputs: new Map([["a", input]]), onstatechange: () => {} };
  const play = (/** @type {number} */ at, /** @type {number[]} */ ...bytes) =>
    input.onmidimessage?.({ timeStamp: at, data: Uint8Array.from(bytes.flat()) });
  return { input, access, play };
}

test("messages are kept with their own times, only from the take's start to its end", async () => {
  const { input, access, play } = oneKeyboard();
  Object.defineProperty(globalThis, "navigator", { value: { requestMIDIAccess: async () => access }, configurable: true });
  /** @type {any[]} */
  const told = [];
  const keyboard = new MidiInput((message) => told.push(message));
  await keyboard.open();
  assert.equal(keyboard.state, "open");
  assert.equal(keyboard.label, "Stage piano");
  play(900, [0x90, 60, 80]);
  assert.ok(told.every((m) => !m.keys), "nothing is kept outside a take");
  keyboard.record(1000);
  play(999.9, [0x80, 60, 0]);
  play(1000.25, [0x90, 62, 80]);
  play(1001, [0xfe]);
  play(1400.5, [0x90, 62, 0]);
  keyboard.level();
  keyboard.stop();
  play(2000, [0x90, 64, 80]);
  keyboard.close();
  const kept = told.flatMap((m) => m.keys ?? []);
  assert.deepEqual(kept, [[0.25, 0x90, 62, 80], [400.5, 0x90, 62, 0]]);
  assert.deepEqual(told.find((m) => m.done), { done: true, holes: 0 });
  assert.equal(input.onmidimessage, null);
});

test("a keyboard that goes away in a take leaves a hole; none at all is said", async () => {
  const { input, access } = oneKeyboard();
  Object.defineProperty(globalThis, "navigator", { value: { requestMIDIAccess: async () => access }, configurable: true });
  /** @type {any[]} */
  const told = [];
  const keyboard = new MidiInput((message) => told.push(message));
  await keyboard.open();
  keyboard.record(0);
  input.state = "disconnected";
  access.onstatechange();
  assert.equal(keyboard.state, "lost");
  keyboard.stop();
  assert.equal(told.at(-1).holes, 1);
  access.inputs.clear();
  const other = new MidiInput(() => {});
  await other.open();
  assert.equal(other.state, "absent");
  Object.defineProperty(globalThis, "navigator", { value: { requestMIDIAccess: () => Promise.reject(new Error("no")) }, configurable: true });
  const refused = new MidiInput(() => {});
  await refused.open();
  assert.equal(refused.state, "denied");
  keyboard.close();
});
