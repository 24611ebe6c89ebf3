// @ts-check
// From beats to frames of the audio clock. A stretch at one tempo is a segment that begins at a
// real-numbered frame; an event is rounded once, at the end, so that no error grows.

/** @import {How, Layout, Score, Segment, SoundEvent} from "./model.js" */
import { clickSounds, layOut, tempoOf } from "./timeline.js";

export class Transport {
  /** @param {number} rate frames a second */
  constructor(rate) {
    this.rate = rate;
    /** @type {Score | null} */
    this.score = null;
    /** @type {How | null} */
    this.how = null;
    /** @type {Layout | null} */
    this.layout = null;
    /** @type {Segment | null} */
    this.segment = null;
    this.next = 0; // index of the first event that has not sounded yet
    /** Called with every segment before its first frame is reached; null: the end. */
    this.onSegment = (/** @type {Segment | null} */ _segment) => {};
  }

  /** @param {Score} score @param {How} how @param {number} frame at which it begins */
  play(score, how, frame) {
    this.score = score;
    this.how = how;
    this.layout = layOut(score, how);
    this.begin(this.made(0, frame, how.countBars > 0));
  }

  /** Other settings while it plays: from `frame` on, at the same place where that is possible. */
  change(/** @type {How} */ how, /** @type {number} */ frame) {
    const { score, segment, layout } = this;
    this.how = how;
    if (!score || !segment || !layout) return;
    frame = Math.max(frame, segment.frame);
    const at = segment.from + (frame - segment.frame) / segment.perBeat;
    const beat = at + (segment.kind === "play" ? layout.start : 0);
    this.layout = layOut(score, how);
    const within = segment.kind === "play" ? beat - this.layout.start : at;
    const fits = segment.kind === "count" || (within >= 0 && within < this.layout.length);
    const fresh = this.made(segment.pass, frame, segment.kind === "count");
    this.begin(fits ? { ...fresh, from: within } : this.made(0, frame, false));
  }

  stop() {
    this.segment = null;
    this.onSegment(null);
  }

  /** @param {number} pass @param {number} frame @param {boolean} count @returns {Segment} */
  made(pass, frame, count) {
    const { score, how, layout } = this;
    if (!score || !how || !layout) throw new Error("nothing to play");
    const bpm = tempoOf(how, pass, score.marks);
    const [from, to] = count ? [-layout.lead, 0] : [0, layout.length];
    const perBeat = (this.rate * 60) / bpm;
    return { kind: count ? "count" : "play", pass, frame, from, to, perBeat, bpm };
  }

  begin(/** @type {Segment | null} */ segment) {
    this.segment = segment;
    this.next = 0;
    const events = this.events();
    while (segment && this.next < events.length && events[this.next].beat < segment.from - 1e-9) {
      this.next++;
    }
    this.onSegment(segment);
  }

  events() {
    if (!this.layout || !this.segment) return [];
    return this.segment.kind === "count" ? this.layout.counts : this.layout.events;
  }

  /** @param {Segment} segment @returns {Segment | null} what comes after it */
  after(segment) {
    const frame = segment.frame + (segment.to - segment.from) * segment.perBeat;
    if (segment.kind === "count") return this.made(segment.pass, frame, false);
    const pass = segment.pass + 1;
    if (this.how?.times && pass >= this.how.times) return null;
    return this.made(pass, frame, Boolean(this.how?.countEach && this.how.countBars));
  }

  /**
   * Everything that begins before frame `end`, once.
   * @param {number} end
   * @returns {{frame: number, frames: number, event: SoundEvent}[]}
   */
  until(end) {
    const found = [];
    while (this.segment && this.how && this.layout) {
      const { segment, how, layout } = this;
      const event = this.events()[this.next];
      if (event) {
        const frame = Math.round(segment.frame + (event.beat - segment.from) * segment.perBeat);
        if (frame >= end) break;
        this.next++;
        const heard = event.kind === "note" || clickSounds(event, how, segment.pass, layout.bars);
        if (heard) found.push({ frame, frames: event.beats * segment.perBeat, event });
        continue;
      }
      if (segment.frame + (segment.to - segment.from) * segment.perBeat >= end) break;
      this.begin(this.after(segment));
    }
    return found;
  }
}
