// @ts-check
// The click, made on the audio thread: exact to a sample whatever the page does.
// Messages in: {plan: ClickPlan} starts, {stop: true} stops. Out: {clicked: frame, accent}.

/** @import {ClickPlan} from "./clicks.js" */
import { clicksWithin } from "./clicks.js";

const LENGTH_S = 0.03;
const DECAY_S = 0.006;
const PLAIN_HZ = 1000;
const ACCENT_HZ = 1500;
const PLAIN_LEVEL = 0.7;

class ClickProcessor extends AudioWorkletProcessor {
  /** @param {AudioWorkletNodeOptions} options `processorOptions.plan` starts at once */
  constructor(options) {
    super();
    /** @type {ClickPlan | null} */
    this.plan = options.processorOptions?.plan ?? null;
    /** @type {{frame: number, accent: boolean}[]} */
    this.sounding = [];
    this.port.onmessage = ({ data }) => {
      if (data.plan) this.plan = data.plan;
      if (data.stop) this.plan = null;
    };
  }

  /** @param {Float32Array[][]} _inputs @param {Float32Array[][]} outputs */
  process(_inputs, outputs) {
    const out = outputs[0][0];
    const plan = this.plan;
    if (plan) {
      const fresh = clicksWithin(plan, currentFrame, out.length);
      this.sounding.push(...fresh);
      for (const click of fresh) this.port.postMessage({ clicked: click.frame, accent: click.accent });
    }
    for (const click of this.sounding) this.render(out, click, plan?.volume ?? 0);
    const end = currentFrame + out.length - LENGTH_S * sampleRate;
    this.sounding = this.sounding.filter((click) => click.frame > end);
    return true;
  }

  /** @param {Float32Array} out @param {{frame: number, accent: boolean}} click @param {number} volume */
  render(out, click, volume) {
    const step = (2 * Math.PI * (click.accent ? ACCENT_HZ : PLAIN_HZ)) / sampleRate;
    const level = volume * (click.accent ? 1 : PLAIN_LEVEL);
    for (let i = Math.max(0, click.frame - currentFrame); i < out.length; i++) {
      const n = currentFrame + i - click.frame;
      if (n >= LENGTH_S * sampleRate) break;
      // A cosine: the first sample of a click is its loudest, so its place can be measured.
      out[i] += level * Math.cos(step * n) * Math.exp(-n / (DECAY_S * sampleRate));
    }
  }
}

registerProcessor("coldtake-click", ClickProcessor);
