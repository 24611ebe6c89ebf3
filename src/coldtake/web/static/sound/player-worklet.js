// @ts-check
// The player's audio thread: exact to a sample whatever the page does.
// In: {play: {score, how}}, {how}, {drone: {score, how}}, {stop}. Out: {segment, layoutOf}.

/** @import {How, Score} from "./model.js" */
import { Mixer } from "./mixer.js";
import { Transport } from "./transport.js";

const SOON_S = 0.06; // between the key and the first frame

class PlayerProcessor extends AudioWorkletProcessor {
  /** @param {AudioWorkletNodeOptions} options `processorOptions.play` starts at once, at `frame` */
  constructor(options) {
    super();
    this.transport = new Transport(sampleRate);
    this.mixer = new Mixer(sampleRate);
    this.transport.onSegment = (segment) => this.port.postMessage({ segment, after: this.coming(segment) });
    this.port.onmessage = ({ data }) => this.told(data);
    const begin = options.processorOptions?.play;
    if (begin) this.play(begin.score, begin.how, begin.frame);
  }

  /** What follows is told ahead, so that the page knows it before it is heard. */
  coming(/** @type {import("./model.js").Segment | null} */ segment) {
    return segment && this.transport.after(segment);
  }

  /** @param {{play?: {score: Score, how: How}, how?: How, drone?: {score: Score, how: How}, stop?: boolean}} data */
  told({ play, how, drone, stop }) {
    if (play) this.play(play.score, play.how, currentFrame + Math.round(SOON_S * sampleRate));
    if (how && this.transport.score) {
      this.transport.change(how, currentFrame);
      this.mixer.setDrone(this.transport.score, how, currentFrame);
    }
    if (drone) this.mixer.setDrone(drone.score, drone.how, currentFrame);
    if (stop) {
      this.transport.stop();
      this.mixer.stop();
    }
  }

  /** @param {Score} score @param {How} how @param {number} frame */
  play(score, how, frame) {
    this.mixer.stop();
    this.mixer.headroom(score);
    this.mixer.setDrone(score, how, frame);
    this.transport.play(score, how, frame);
  }

  /** @param {Float32Array[][]} _inputs @param {Float32Array[][]} outputs */
  process(_inputs, outputs) {
    const out = outputs[0][0];
    const { score, how } = this.transport;
    const playing = this.transport.segment !== null;
    for (const one of this.transport.until(currentFrame + out.length)) {
      if (score && how) this.mixer.start(one, score, how);
    }
    if (playing && !this.transport.segment) this.mixer.endDrone();
    this.mixer.render(out, currentFrame);
    return true;
  }
}

registerProcessor("coldtake-player", PlayerProcessor);
