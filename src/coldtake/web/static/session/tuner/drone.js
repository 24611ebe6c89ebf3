// @ts-check
// A drone: one or two steady tones in the chosen tuning, with partials falling as 1/n (a bowed or
// reedy sound, easy to tune to), faded in and out so that nothing clicks.

/** @import {Tuning} from "./tuning.js" */
import { frequency } from "./tuning.js";

const PARTIALS = 10;
const FADE_S = 0.25;
const LOUDEST = 0.3;

export class Drone {
  constructor() {
    /** @type {{gain: GainNode, tones: OscillatorNode[]} | null} */
    this.sounding = null;
    this.shape = "";
  }

  get on() {
    return this.sounding !== null;
  }

  /**
   * Sounds these notes, or changes to them; the same again changes nothing.
   * @param {AudioContext} context @param {number[]} pitches MIDI numbers @param {Tuning} tuning
   * @param {number} volume 0..1
   */
  play(context, pitches, tuning, volume) {
    const hertz = pitches.map((p) => frequency(p, tuning));
    const shape = hertz.map((hz) => hz.toFixed(4)).join();
    const level = (LOUDEST * volume) / Math.sqrt(pitches.length);
    if (this.sounding && shape === this.shape) {
      return void this.sounding.gain.gain.setTargetAtTime(level, context.currentTime, FADE_S / 3);
    }
    this.stop();
    this.shape = shape;
    const gain = new GainNode(context, { gain: 0 });
    gain.connect(context.destination);
    gain.gain.setTargetAtTime(level, context.currentTime, FADE_S / 3);
    const wave = reedy(context);
    const tones = hertz.map((hz) => new OscillatorNode(context, { frequency: hz, periodicWave: wave }));
    for (const tone of tones) {
      tone.connect(gain);
      tone.start();
    }
    this.sounding = { gain, tones };
  }

  stop() {
    if (!this.sounding) return;
    const { gain, tones } = this.sounding;
    const now = gain.context.currentTime;
    gain.gain.cancelScheduledValues(now);
    gain.gain.setTargetAtTime(0, now, FADE_S / 3);
    for (const tone of tones) tone.stop(now + 2 * FADE_S);
    this.sounding = null;
    this.shape = "";
  }
}

function reedy(/** @type {AudioContext} */ context) {
  const imag = Float32Array.from({ length: PARTIALS + 1 }, (_, n) => (n ? 1 / n : 0));
  return context.createPeriodicWave(new Float32Array(PARTIALS + 1), imag);
}
