// @ts-check
// The page's side of the player: opens the sound, sends what to play, knows what is heard now.

/** @import {How, Layout, Score, Segment} from "./model.js" */
import { layOut } from "./timeline.js";

const KEPT = 6; // segments remembered; what is heard now is at most the one before the last

export class Player {
  constructor() {
    /** @type {AudioContext | null} */
    this.context = null;
    /** @type {AudioWorkletNode | null} */
    this.node = null;
    /** @type {{segment: Segment, layout: Layout}[]} */
    this.segments = [];
    /** @type {Layout | null} */
    this.layout = null;
    /** @type {Score | null} */
    this.score = null;
    this.playing = false;
    /** Called when playing begins or ends. */
    this.onChange = () => {};
    /** @type {Promise<void> | null} */
    this.opening = null;
    this.endFrame = Infinity;
  }

  /** Needs a touch or a key, as browsers want it. Throws when there is no sound. */
  async open() {
    this.opening ??= this.start().catch((fault) => {
      this.opening = null;
      throw fault;
    });
    await this.opening;
    await this.context?.resume();
  }

  async start() {
    const context = new AudioContext({ latencyHint: "interactive" });
    await context.audioWorklet.addModule(new URL("player-worklet.js", import.meta.url));
    const node = new AudioWorkletNode(context, "coldtake-player", { outputChannelCount: [1] });
    node.port.onmessage = ({ data }) => this.told(data.segment, data.after);
    node.connect(context.destination);
    this.context = context;
    this.node = node;
  }

  /** @param {Score} score @param {How} how */
  async play(score, how) {
    await this.open();
    this.score = score;
    this.layout = layOut(score, how);
    this.segments = [];
    this.endFrame = Infinity;
    this.playing = true;
    this.node?.port.postMessage({ play: { score, how } });
    this.onChange();
  }

  /** Other settings while it plays; nothing when it does not. */
  change(/** @type {How} */ how) {
    if (!this.playing || !this.score) return;
    this.layout = layOut(this.score, how);
    this.node?.port.postMessage({ how });
  }

  /** The drone alone, while nothing plays. @param {Score} score @param {How} how */
  async sing(score, how) {
    await this.open();
    this.node?.port.postMessage({ drone: { score, how } });
  }

  stop() {
    if (!this.node) return;
    this.node.port.postMessage({ stop: true });
    this.ended();
  }

  ended() {
    this.playing = false;
    this.segments = [];
    this.onChange();
  }

  /** @param {Segment | null} segment @param {Segment | null} after */
  told(segment, after) {
    const layout = this.layout;
    if (!this.playing || !layout) return;
    if (segment) {
      // what was only foretold gives way to what is so
      this.segments = this.segments.filter((s) => s.segment.frame < segment.frame);
      this.segments.push({ segment, layout });
      const end = segment.frame + (segment.to - segment.from) * segment.perBeat;
      if (after) this.segments.push({ segment: after, layout });
      this.endFrame = after ? Infinity : end;
      this.segments = this.segments.slice(-KEPT);
    }
  }

  /** The frame that leaves the loudspeaker now, as far as the browser knows its own delay. */
  heardFrame(now = performance.now()) {
    const context = this.context;
    if (!context) return 0;
    const { contextTime, performanceTime } = context.getOutputTimestamp();
    const known = contextTime && performanceTime;
    const seconds = known
      ? contextTime + (now - performanceTime) / 1000
      : context.currentTime - (context.outputLatency || context.baseLatency || 0);
    return seconds * context.sampleRate;
  }

  /** Where the music is at a frame: beats of the loop, negative in a count-in; null before it.
   * @param {number} frame */
  placeAt(frame) {
    if (frame >= this.endFrame) {
      this.ended();
      return null;
    }
    const found = this.segments.findLast((s) => s.segment.frame <= frame);
    if (!found) return null;
    const { segment, layout } = found;
    const beat = segment.from + (frame - segment.frame) / segment.perBeat;
    return { beat: Math.min(beat, segment.to - 1e-9), segment, layout };
  }
}
