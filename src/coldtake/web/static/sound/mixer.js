// @ts-check
// Notes, clicks and drone to samples. Pure: blocks in, sound added; used on the audio thread.

/** @import {How, Score, SoundEvent} from "./model.js" */
import { Click, pitchHz, Tone, tuned, VOICES } from "./voices.js";

const STOP_S = 0.02;
const DRONE_LOW = 45; // the drone's tonic lies in the octave from A2 up
const KNEE = 0.75;

export class Mixer {
  /** @param {number} rate @param {number} block frames of a block */
  constructor(rate, block = 128) {
    this.rate = rate;
    this.scratch = new Float64Array(block);
    /** @type {(Tone | Click)[]} */
    this.sounding = [];
    /** @type {Tone[]} */
    this.drone = [];
    this.droneKey = "";
    this.ease = 1;
  }

  /** Many notes at once are each a little softer. */
  headroom(/** @type {Score} */ score) {
    const ends = score.notes.map((n) => ({ at: n.onset, by: 1 }));
    for (const n of score.notes) ends.push({ at: n.onset + n.beats - 1e-6, by: -1 });
    ends.sort((a, b) => a.at - b.at || a.by - b.by);
    let now = 0;
    let most = 1;
    for (const { by } of ends) most = Math.max(most, (now += by));
    this.ease = 1 / Math.sqrt(most);
  }

  /** @param {{frame: number, frames: number, event: SoundEvent}} one @param {Score} score @param {How} how */
  start({ frame, frames, event }, score, how) {
    const { levels } = how;
    if (event.kind === "click") {
      if (levels.click > 0) this.sounding.push(new Click(event.place === 0, levels.click, frame, this.rate));
      return;
    }
    if (event.part === "click") return;
    const level = levels[event.part] * event.level * (event.part === "tune" ? this.ease : 1);
    if (level <= 0) return;
    const voice = event.part === "tune" ? (VOICES[how.voice] ?? VOICES.struck) : VOICES[event.part];
    const hz = pitchHz(this.pitch(event.pitch, score, how), score.a4Hz);
    this.sounding.push(new Tone(voice, hz, level, frame, frames, this.rate));
  }

  /** @param {number} pitch @param {Score} score @param {How} how */
  pitch(pitch, score, how) {
    const cents = score.tunings[how.tuning];
    return cents ? tuned(pitch, how.tonic, cents) : pitch;
  }

  /** The drone as asked for; what sounded otherwise before fades out under it.
   * @param {Score} score @param {How} how @param {number} frame */
  setDrone(score, how, frame) {
    const { drone, tonic, tuning, levels } = how;
    const key = levels.drone > 0 ? JSON.stringify([drone, tonic, tuning, levels.drone, score.a4Hz]) : "";
    if (key === this.droneKey) return;
    this.endDrone();
    this.droneKey = key;
    if (!key) return;
    const low = DRONE_LOW + ((((tonic - DRONE_LOW) % 12) + 12) % 12);
    this.drone = drone.map((above) => {
      const hz = pitchHz(this.pitch(low + above, score, how), score.a4Hz);
      return new Tone(VOICES.drone, hz, levels.drone, frame, Infinity, this.rate);
    });
    this.sounding.push(...this.drone);
  }

  endDrone() {
    for (const tone of this.drone) {
      tone.release = VOICES.drone.releaseS * this.rate;
      tone.length = tone.n + tone.release;
    }
    this.drone = [];
    this.droneKey = "";
  }

  stop() {
    this.endDrone();
    for (const one of this.sounding) one.fade(STOP_S * this.rate);
  }

  /** @param {Float32Array} out @param {number} start frame of the block */
  render(out, start) {
    if (this.scratch.length < out.length) this.scratch = new Float64Array(out.length);
    const scratch = this.scratch.length === out.length ? this.scratch : this.scratch.subarray(0, out.length);
    this.sounding = this.sounding.filter((one) => one.render(out, scratch, start));
    for (let i = 0; i < out.length; i++) out[i] = limited(out[i]);
  }
}

/** Straight up to the knee, bent above: never past full scale. */
export function limited(/** @type {number} */ x) {
  const size = Math.abs(x);
  if (size <= KNEE) return x;
  return Math.sign(x) * (KNEE + (1 - KNEE) * Math.tanh((size - KNEE) / (1 - KNEE)));
}
