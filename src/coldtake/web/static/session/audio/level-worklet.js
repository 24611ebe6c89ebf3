// @ts-check
// The A-weighted level of the microphone, twice a second; the sound itself goes nowhere.
// Messages out: {square: mean square of the weighted samples, seconds, peak}.

import { AWeighting } from "./a-weighting.js";

const EVERY_S = 0.5;

class EarsProcessor extends AudioWorkletProcessor {
  constructor() {
    super();
    this.filter = new AWeighting(sampleRate);
    this.sum = this.count = this.peak = 0;
  }

  /** @param {Float32Array[][]} inputs */
  process(inputs) {
    const input = inputs[0][0];
    if (!input) return true;
    this.sum += this.filter.square(input);
    this.count += input.length;
    for (const x of input) this.peak = Math.max(this.peak, Math.abs(x));
    if (this.count < EVERY_S * sampleRate) return true;
    const seconds = this.count / sampleRate;
    this.port.postMessage({ square: this.sum / this.count, seconds, peak: this.peak });
    this.sum = this.count = this.peak = 0;
    return true;
  }
}

registerProcessor("coldtake-ears", EarsProcessor);
