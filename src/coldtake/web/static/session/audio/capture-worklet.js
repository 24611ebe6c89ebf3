// @ts-check
// The microphone as raw samples. Always gives the level; gives samples only while a take runs.
// Messages in: {record: {from: frame}} and {stop: true}. Out: {frame, samples} in batches of about
// 0.1 s (buffers are handed over, not copied), {level, peak} ten times a second, and at the end
// {done: true, holes}. A batch never hides a break: where frames are missing a new one begins.

import { Dropouts } from "./dropouts.js";

const BATCH_S = 0.1;

class CaptureProcessor extends AudioWorkletProcessor {
  constructor() {
    super();
    this.size = Math.ceil((sampleRate * BATCH_S) / 128) * 128;
    /** Frame from which samples are kept; Infinity outside a take. */
    this.from = Infinity;
    this.batch = new Float32Array(this.size);
    this.filled = 0;
    this.batchFrame = 0;
    this.square = 0;
    this.peak = 0;
    this.measured = 0;
    this.holes = new Dropouts();
    this.port.onmessage = ({ data }) => {
      if (data.record) this.begin(data.record.from);
      if (data.stop) this.finish();
    };
  }

  begin(/** @type {number} */ from) {
    this.filled = 0;
    this.from = from;
    this.holes = new Dropouts();
  }

  finish() {
    this.send();
    this.from = Infinity;
    this.port.postMessage({ done: true, holes: this.holes.count });
  }

  send() {
    if (this.filled === 0) return;
    const samples = this.batch.slice(0, this.filled);
    this.port.postMessage({ frame: this.batchFrame, samples }, [samples.buffer]);
    this.filled = 0;
  }

  /** @param {Float32Array[][]} inputs */
  process(inputs) {
    const input = inputs[0][0];
    if (!input) return true;
    this.measure(input);
    const skip = Math.max(0, this.from - currentFrame);
    if (skip >= input.length) return true;
    const kept = input.subarray(skip);
    if (this.filled > 0 && this.batchFrame + this.filled !== currentFrame + skip) this.send();
    if (this.filled === 0) this.batchFrame = currentFrame + skip;
    this.holes.see(kept);
    this.batch.set(kept, this.filled);
    this.filled += kept.length;
    if (this.filled > this.size - 128) this.send();
    return true;
  }

  /** @param {Float32Array} input */
  measure(input) {
    for (const x of input) {
      this.square += x * x;
      this.peak = Math.max(this.peak, Math.abs(x));
    }
    this.measured += input.length;
    if (this.measured < this.size) return;
    this.port.postMessage({ level: Math.sqrt(this.square / this.measured), peak: this.peak });
    this.square = this.peak = this.measured = 0;
  }
}

registerProcessor("coldtake-capture", CaptureProcessor);
