// @ts-check
// Listens to a microphone for as long as somebody looks at the tuner.

import { PitchFinder } from "../audio/pitch.js";
import { MedianFilter } from "./median-filter.js";
import { now as timeNow } from "../flow/monotonic-clock.js";

export class TunerInput {
  /** @param {(hz: number | null) => void} heard twenty times a second */
  constructor(heard) {
    this.heard = heard;
    this.steady = new MedianFilter();
    /** @type {AudioWorkletNode | null} */
    this.node = null;
    /** @type {AudioNode | null} */
    this.source = null;
    /** @type {PitchFinder | null} */
    this.finder = null;
  }

  /** @param {AudioNode} source the microphone, of a running context */
  async listen(source) {
    const context = /** @type {AudioContext} */ (source.context);
    if (this.source === source) return this.node?.port.postMessage({ listen: true });
    this.source = source;
    await context.audioWorklet.addModule(new URL("listen-worklet.js", import.meta.url));
    this.node?.disconnect();
    this.finder = new PitchFinder(context.sampleRate);
    this.node = new AudioWorkletNode(context, "coldtake-listen", { numberOfOutputs: 0 });
    this.node.port.onmessage = ({ data }) => this.hear(data.window);
    source.connect(this.node);
    this.node.port.postMessage({ listen: true });
  }

  hear(/** @type {Float32Array} */ window) {
    const hz = this.finder?.find(window)?.hz ?? null;
    this.steady.hear(hz, timeNow());
    this.heard(hz);
  }

  stop() {
    this.node?.port.postMessage({ listen: false });
  }
}
