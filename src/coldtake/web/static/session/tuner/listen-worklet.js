// @ts-check
// The latest moments of the microphone, for the tuner: a window twenty times a second while it is
// asked for. Nothing is kept: each window is looked at once and let go.
// Messages in: {listen: true} and {listen: false}. Out: {window: Float32Array}.

const WINDOW = 8192; // as in pitch.js
const EVERY_S = 0.05;

class ListenProcessor extends AudioWorkletProcessor {
  constructor() {
    super();
    this.ring = new Float32Array(WINDOW);
    this.at = 0;
    this.due = 0;
    this.wanted = false;
    this.port.onmessage = ({ data }) => {
      this.wanted = data.listen === true;
      this.ring.fill(0);
    };
  }

  /** @param {Float32Array[][]} inputs */
  process(inputs) {
    const input = inputs[0][0];
    if (!input || !this.wanted) return true;
    for (const x of input) {
      this.ring[this.at] = x;
      this.at = (this.at + 1) % WINDOW;
    }
    this.due -= input.length;
    if (this.due > 0) return true;
    this.due = Math.round(EVERY_S * sampleRate);
    const window = new Float32Array(WINDOW);
    window.set(this.ring.subarray(this.at));
    window.set(this.ring.subarray(0, this.at), WINDOW - this.at);
    this.port.postMessage({ window }, [window.buffer]);
    return true;
  }
}

registerProcessor("coldtake-listen", ListenProcessor);
