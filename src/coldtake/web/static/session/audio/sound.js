// @ts-check
// One audio clock and one microphone stream for the whole session. Clicks are made and samples are
// taken on the audio thread; bells are put on the audio clock ahead of time, so that a hidden tab
// or a busy page moves neither.

import { MidiInput } from "./midi-input.js";
import { now as timeNow } from "../flow/monotonic-clock.js";

/** @import {ClickPlan} from "./clicks.js" */

/** @typedef {"none" | "asking" | "open" | "denied" | "absent" | "processed" | "insecure" | "lost"} MicState */

const RAW = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
const WARM_UP_S = 1; // the first frames of a stream are irregular
const BELL_SLIP_S = 0.03;

/** What to tell the player about the microphone: what is so, and what to do. */
export const MIC_WORDS = Object.freeze({
  none: "",
  asking: "Your browser asks for the microphone. Allow it to record takes.",
  open: "Microphone ready. It records only during a take.",
  denied: "The microphone is blocked. Allow it beside the address, or answer yourself.",
  absent: "No microphone. Connect one to record takes, or answer yourself.",
  processed: "This browser changes the microphone sound, so takes cannot be judged. Answer yourself.",
  insecure: "No microphone: this address is not secure. Answer yourself.",
  lost: "The microphone was disconnected. Connect it again, or answer yourself.",
});

/** The same in few words, for the slot. */
export const MIC_SHORT = Object.freeze({
  ...MIC_WORDS,
  open: "",
  denied: "Microphone blocked. Answer yourself.",
  absent: "No microphone. Answer yourself.",
  processed: "Browser changes the sound. Answer yourself.",
  insecure: "No microphone at this address. Answer yourself.",
  lost: "Microphone disconnected. Answer yourself.",
});

export class Sound {
  constructor() {
    /** @type {AudioContext | null} */
    this.context = null;
    /** @type {AudioWorkletNode | null} */
    this.click = null;
    /** @type {AudioWorkletNode | null} */
    this.capture = null;
    /** @type {MicState} */
    this.mic = "none";
    this.micSince = Infinity;
    this.openedMs = 0; // when the microphone opened, Unix milliseconds
    /** @type {MediaStreamTrack | null} */
    this.track = null;
    /** The open microphone, for whoever listens beside the recording. @type {AudioNode | null} */
    this.source = null;
    /** The device that the player chose; empty for the browser's own choice. */
    this.device = "";
    /** Takes the microphone's place while it is chosen. */
    this.keyboard = new MidiInput((message) => this.onCapture(message));
    this.keyboard.onChange = () => this.onChange();
    this.volume = 0.6;
    /** @type {(message: any) => void} */
    this.onCapture = () => {};
    /** @type {(message: any) => void} */
    this.onClick = () => {};
    /** @type {() => void} */
    this.onChange = () => {};
    /** @type {{atMs: number, time: number, nodes: AudioScheduledSourceNode[]} | null} */
    this.bell = null;
    /** @type {Promise<void> | null} */
    this.opening = null;
  }

  get running() {
    return this.context?.state === "running";
  }

  get rate() {
    return this.context?.sampleRate ?? 48_000;
  }

  /** Frame that the audio clock has reached. */
  get frame() {
    return Math.round((this.context?.currentTime ?? 0) * this.rate);
  }

  /** Needs a touch or a key, as browsers want it. Never throws; `mic` says how it went. */
  open(/** @type {boolean} */ wantsMicrophone) {
    this.opening ??= this.start();
    void this.context?.resume().catch(() => undefined);
    return this.opening.then(async () => {
      if (wantsMicrophone && !this.keyboard.ready && !["open", "asking"].includes(this.mic)) await this.openMicrophone();
    });
  }

  async start() {
    try {
      const context = new AudioContext({ latencyHint: "playback" });
      this.context = context;
      context.onstatechange = () => this.onChange();
      void context.resume().catch(() => undefined);
      const here = (/** @type {string} */ name) => new URL(name, import.meta.url);
      await context.audioWorklet.addModule(here("click-worklet.js"));
      await context.audioWorklet.addModule(here("capture-worklet.js"));
      this.click = new AudioWorkletNode(context, "coldtake-click", { outputChannelCount: [1] });
      this.click.port.onmessage = ({ data }) => this.onClick(data);
      this.click.connect(context.destination);
    } catch {
      this.context = null; // no sound device: the session goes on without click and bell
    }
  }

  async openMicrophone() {
    const context = this.context;
    if (!context || !this.click) return this.say("absent");
    if (!navigator.mediaDevices) return this.say("insecure");
    this.say("asking");
    try {
      const chosen = this.device ? { deviceId: { ideal: this.device } } : {};
      const audio = { ...RAW, channelCount: 1, ...chosen };
      const stream = await navigator.mediaDevices.getUserMedia({ audio });
      const [track] = stream.getAudioTracks();
      if (!isRaw(track.getSettings())) {
        track.stop();
        return this.say("processed");
      }
      track.onended = () => this.say("lost");
      this.track = track;
      this.capture?.disconnect();
      const shape = { numberOfOutputs: 0, channelCount: 1, channelCountMode: "explicit" };
      this.capture = new AudioWorkletNode(
        context,
        "coldtake-capture",
        /** @type {AudioWorkletNodeOptions} */ (shape),
      );
      this.capture.port.onmessage = ({ data }) => this.onCapture(data);
      this.source = context.createMediaStreamSource(stream);
      this.source.connect(this.capture);
      this.micSince = this.frame;
      this.openedMs = timeNow();
      this.say("open");
    } catch (error) {
      const name = error instanceof DOMException ? error.name : "";
      this.say(name === "NotFoundError" || name === "NotReadableError" ? "absent" : "denied");
    }
  }

  /** What the browser calls the open microphone. */
  get label() {
    return this.track?.label ?? "";
  }

  /** Lets the microphone go, so that the browser's own sign goes out too. */
  closeMicrophone() {
    if (this.mic !== "open") return;
    this.track?.stop();
    this.source?.disconnect();
    this.capture?.disconnect();
    this.track = this.source = this.capture = null;
    this.micSince = Infinity;
    this.say("none");
  }

  /** Listens to another device from now on. @param {string} id */
  async choose(id) {
    this.device = id;
    this.closeMicrophone();
    await this.openMicrophone();
  }

  /** @param {MicState} state */
  say(state) {
    this.mic = state;
    this.onChange();
  }

  get canRecord() {
    return this.keyboard.ready || (this.mic === "open" && this.running);
  }

  /** What the browser itself says it has dropped so far: frames of the microphone, of the sound. */
  get dropped() {
    const track = /** @type {any} */ (this.track)?.stats;
    const played = /** @type {any} */ (this.context)?.playbackStats;
    return {
      frames: track ? track.totalFrames - track.deliveredFrames : 0,
      underruns: played?.underrunEvents ?? 0,
    };
  }

  /** First frame at which the stream can be trusted. */
  get trustedFrom() {
    return this.keyboard.ready ? 0 : this.micSince + WARM_UP_S * this.rate;
  }

  startClick(/** @type {ClickPlan} */ plan) {
    this.click?.port.postMessage({ plan });
  }

  stopClick() {
    this.click?.port.postMessage({ stop: true });
  }

  record(/** @type {number} */ fromFrame) {
    if (this.keyboard.ready) {
      const waitMs = ((fromFrame - this.frame) / this.rate) * 1000;
      return this.keyboard.record(performance.now() + waitMs);
    }
    this.capture?.port.postMessage({ record: { from: fromFrame } });
  }

  stopRecording() {
    if (this.keyboard.recording) return this.keyboard.stop();
    this.capture?.port.postMessage({ stop: true });
  }

  /** The bell for a deadline; moves when the deadline moves, null takes it away. */
  ringAt(/** @type {number | null} */ atMs) {
    if (!this.context || !this.running) return;
    if (atMs === null || atMs < timeNow()) {
      if (this.bell && this.bell.time > this.context.currentTime) this.hush();
      return;
    }
    const time = this.context.currentTime + (atMs - timeNow()) / 1000;
    if (this.bell?.atMs === atMs && Math.abs(this.bell.time - time) < BELL_SLIP_S) return;
    this.hush();
    const nodes = [659.3, 1318.5, 1975.5].map((hz, i) => this.tone(hz, time, 2.2, 0.16 / (i + 1)));
    this.bell = { atMs, time, nodes: nodes.filter((n) => n !== null) };
  }

  /** A bell whose hour has come rings out, also where the sound lags behind the time of day. */
  hush() {
    if (this.bell && this.bell.atMs <= timeNow()) this.bell = null;
    this.silence();
  }

  silence() {
    for (const node of this.bell?.nodes ?? []) node.stop();
    this.bell = null;
  }

  /** Three quiet signals that differ in direction: up, down, level. */
  signal(/** @type {import("../model.js").Answer} */ answer) {
    const now = (this.context?.currentTime ?? 0) + 0.02;
    const pairs = { yes: [587.3, 880], no: [392, 261.6], cannot_tell: [440, 440] };
    pairs[answer].forEach((hz, i) => this.tone(hz, now + i * 0.22, 0.5, 0.12));
  }

  /** A soft call before a take that starts by itself. */
  callAt(/** @type {number} */ atMs) {
    const time = (this.context?.currentTime ?? 0) + Math.max(0.02, (atMs - timeNow()) / 1000);
    for (const hz of [523.3, 784]) this.tone(hz, time, 0.6, 0.06);
  }

  /** @param {number} hz @param {number} time @param {number} seconds @param {number} level */
  tone(hz, time, seconds, level) {
    const context = this.context;
    if (!context || !this.running) return null;
    const gain = new GainNode(context, { gain: 0 });
    gain.gain.setValueAtTime(0, time);
    gain.gain.linearRampToValueAtTime(level, time + 0.01);
    gain.gain.exponentialRampToValueAtTime(0.0001, time + seconds);
    const source = new OscillatorNode(context, { frequency: hz });
    source.connect(gain).connect(context.destination);
    source.start(time);
    source.stop(time + seconds);
    return source;
  }
}

/** Every processing is off, as the browser itself says. */
const isRaw = (/** @type {MediaTrackSettings} */ settings) =>
  settings.echoCancellation === false &&
  settings.noiseSuppression === false &&
  settings.autoGainControl === false;
