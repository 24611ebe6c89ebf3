// @ts-check
// One try from the count-in to its answer. Nothing is recorded before `record` and after `stop`;
// what is recorded is in the page's store within a tenth of a second.

/** @import {Session, Place, StepInfo, Verdict} from "../model.js" */
/** @import {Sound} from "./sound.js" */
/** @import {SessionStore} from "../keeping/store.js" */
import { countIn, samplesPerBeat } from "./clicks.js";
import { CLIPPED, TakeEnd, levelAdvice } from "./take-end.js";
import { StorageQuota } from "../keeping/storage-quota.js";
import { lostFrames } from "../keeping/wav.js";
import { now as timeNow } from "../flow/monotonic-clock.js";

const LEAD_S = 0.25; // from the key to the first click
const EARLY_S = 0.5; // kept before the music, at most half a beat
const NOISE_OF = 50; // levels looked back on for the room's noise: five seconds
const STOP_PATIENCE_MS = 15_000; // only an audio thread that died does not answer

const FLAW_WORDS = Object.freeze({
  lost: "The computer was too busy. A part of this take is missing.",
  "no room": "This device is full. A part of this take is missing.",
});

/** @typedef {"count_in" | "playing" | "keeping" | "judging" | "verdict" | "ask"} TakePhase */
/**
 * @typedef {object} ClickChoice
 * @property {boolean} on count-in, and click if `through`
 * @property {boolean} through
 * @property {number} bpm beats (of the beat unit) a minute
 * @property {number} unit beat unit in quarters
 * @property {number} perBar
 * @property {number} bars of count-in
 * @property {number[]} beats that sound, counted from 1; empty for all
 * @property {number} barsOn bars with the click, then
 * @property {number} barsOff bars without
 */
/**
 * @typedef {object} Take
 * @property {string} id
 * @property {string} stepId
 * @property {string} slotId
 * @property {TakePhase} phase
 * @property {boolean} recorded
 * @property {number} beat of the count-in, counted from 1; 0 before
 * @property {number} sinceMs of the phase
 * @property {number} musicMs when the music is expected to start
 * @property {Verdict | null} verdict
 * @property {string} advice on the level
 * @property {string} why the server refused it
 * @property {string} failed why judging it failed; empty where it did not
 * @property {number | null} clickBpm quarters a minute, when the click went through
 * @property {boolean} byItself nobody pressed a key for it
 */

export class Takes {
  /**
   * @param {Sound} sound
   * @param {SessionStore} store
   * @param {() => void} poke tells the outbox
   * @param {() => void} changed
   */
  constructor(sound, store, poke, changed) {
    this.sound = sound;
    this.store = store;
    this.poke = poke;
    this.changed = changed;
    /** @type {Take | null} */
    this.now = null;
    this.level = 0;
    this.peak = 0;
    this.loudest = 0;
    /** @type {number[]} */
    this.levels = [];
    /** @type {{frame: number, samples: {length: number}}[]} */
    this.placed = [];
    /** The take comes from a keyboard. */
    this.keyed = false;
    /** @type {Promise<void>[]} */
    this.writing = [];
    /** What is known to be missing in the recording. @type {Set<string>} */
    this.flaws = new Set();
    this.fromFrame = 0;
    this.holes = 0;
    this.dropped = 0;
    this.end = new TakeEnd(null, 0, 0);
    this.musicFrame = 0;
    this.countClicks = 0;
    /** @type {(() => void) | null} */
    this.stopped = null;
    this.onNobody = () => {};
    /** Level and peak of each tenth of a second, in and out of takes. @type {(level: number, peak: number) => void} */
    this.onLevel = () => {};
    this.room = new StorageQuota();
    sound.onCapture = (message) => this.hear(message);
    sound.onClick = (message) => this.clicked(message);
  }

  get busy() {
    return this.now !== null && ["count_in", "playing", "keeping"].includes(this.now.phase);
  }

  get recording() {
    return this.now?.recorded === true && ["count_in", "playing"].includes(this.now.phase);
  }

  /** The room's noise: what was there in the quietest tenth of the last five seconds. */
  get noise() {
    const sorted = [...this.levels].sort((a, b) => a - b);
    return sorted[Math.floor(sorted.length / 10)] ?? 0;
  }

  /**
   * @param {string} id
   * @param {Session} session
   * @param {Place} place
   * @param {StepInfo} step
   * @param {ClickChoice} click
   * @param {number} volume 0..1
   * @param {(ms: number) => string} iso
   * @param {boolean} byItself
   */
  async start(id, session, place, step, click, volume, iso, byItself = false) {
    const recorded = step.heard && this.sound.canRecord && this.room.hasTake(this.sound.rate);
    const { musicFrame, fromFrame, track } = this.schedule(step, click, volume, recorded);
    const musicMs = timeNow() + ((musicFrame - this.sound.frame) / this.sound.rate) * 1000;
    const sounded = click.on && click.through && this.sound.running;
    const quarters = sounded ? click.bpm * click.unit : null;
    this.end = takeEnd(step, click, this.noise);
    this.musicFrame = musicFrame;
    this.loudest = this.peak = 0;
    this.forget(fromFrame);
    this.now = {
      id,
      stepId: place.slot.step_id,
      slotId: place.slot.id,
      phase: "count_in",
      recorded,
      beat: 0,
      sinceMs: timeNow(),
      musicMs,
      verdict: null,
      advice: "",
      why: "",
      failed: "",
      clickBpm: quarters,
      byItself,
    };
    this.changed();
    if (!recorded) return;
    this.sound.record(fromFrame); // at once: the store may be slow, the first note is not
    const beganMs = musicMs - ((musicFrame - fromFrame) / this.sound.rate) * 1000;
    const { sessionId, query } = asked(session, place, quarters, track, iso(beganMs));
    const source = this.sound.keyboard.ready ? "&source=midi" : "";
    const { slotId, stepId } = this.now;
    const rate = this.sound.rate;
    await this.store
      .beginTake({ takeId: id, sessionId, slotId, stepId, query: query + source, rate, status: "recording" })
      .catch(() => {
        this.sound.stopRecording();
        if (this.now?.id === id) this.now.recorded = false; // no room left: the player answers
      });
  }

  /** A new recording is whole until something is known to be missing. */
  forget(/** @type {number} */ fromFrame) {
    this.placed = [];
    this.keyed = false;
    this.writing = [];
    this.flaws.clear();
    this.fromFrame = fromFrame;
    this.holes = 0;
    this.dropped = this.sound.dropped.frames;
  }

  /**
   * @param {StepInfo} step @param {ClickChoice} click @param {number} volume
   * @param {boolean} recorded
   */
  schedule(step, click, volume, recorded) {
    const { sound } = this;
    const soon = sound.frame + LEAD_S * sound.rate;
    const trusted = recorded ? sound.trustedFrom : 0;
    this.countClicks = 0;
    if (!click.on || !sound.running) {
      const musicFrame = Math.ceil(Math.max(soon, trusted));
      return { musicFrame, fromFrame: musicFrame, track: null };
    }
    const shape = {
      beat_unit_beats: click.unit,
      beats_per_bar: click.perBar,
      count_in_bars: click.bars,
    };
    const { clicks, accentOffset, leadClicks, firstBar } = countIn(shape, step.pickup_beats);
    const spb = samplesPerBeat(sound.rate, click.bpm * click.unit, click.unit);
    const early = Math.min(EARLY_S * sound.rate, spb / 2);
    const f0 = Math.ceil(Math.max(soon, trusted + early - leadClicks * spb));
    const count = click.through ? Infinity : clicks;
    sound.startClick({ f0, samplesPerBeat: spb, count, perBar: click.perBar, accentOffset, volume });
    this.countClicks = clicks;
    const musicFrame = f0 + Math.round(leadClicks * spb);
    const fromFrame = Math.ceil(musicFrame - early);
    const inTake = (/** @type {number} */ frame) => (frame - fromFrame) / sound.rate;
    const track = {
      first_s: inTake(f0),
      every_s: spb / sound.rate,
      unit_beats: click.unit,
      music_s: inTake(musicFrame),
      per_bar: click.perBar,
      accent: accentOffset,
      count: click.through ? null : clicks,
    };
    return { musicFrame, fromFrame, track };
  }

  clicked(/** @type {{clicked: number}} */ _message) {
    if (this.now?.phase !== "count_in") return;
    this.now.beat += 1;
    this.changed();
  }

  hear(/** @type {any} */ message) {
    if (message.done) {
      this.holes = message.holes;
      this.stopped?.();
    }
    else if (message.samples || message.keys) this.keepBatch(message);
    else {
      this.level = message.level;
      this.onLevel(message.level, message.peak);
      this.levels = [...this.levels.slice(1 - NOISE_OF), message.level];
      if (this.now?.phase === "playing") {
        this.peak = Math.max(this.peak, message.peak);
        this.loudest = Math.max(this.loudest, message.level);
        this.end.hear(message.level, this.playedS);
      }
    }
  }

  keepBatch(/** @type {import("../keeping/store.js").Batch} */ batch) {
    if (!this.now) return;
    if (batch.samples) this.placed.push({ frame: batch.frame, samples: { length: batch.samples.length } });
    else this.keyed = true;
    const written = this.store.keepBatch(this.now.id, batch);
    this.writing.push(written.catch(() => void this.flaws.add("no room")));
  }

  /** Seconds since the music was expected to start; negative in the count-in. */
  get playedS() {
    if (this.now && this.sound.running) return (this.sound.frame - this.musicFrame) / this.sound.rate;
    return this.now ? (timeNow() - this.now.musicMs) / 1000 : 0;
  }

  /** Called at every tick: the count-in is over, the take is over. */
  async tick() {
    const take = this.now;
    if (!take) return;
    if (take.phase === "count_in" && this.playedS >= 0) this.enter("playing");
    if (take.phase !== "playing") return;
    // Without a recording nobody hears the end: the length decides, else the player.
    const over = take.recorded
      ? this.end.isOver(this.playedS)
      : this.end.expectedS !== null && this.playedS >= this.end.expectedS + 1;
    if (over) await this.finish();
  }

  /** The take is over: by itself, or by the player's key. */
  async finish() {
    const take = this.now;
    if (!take || !["count_in", "playing"].includes(take.phase)) return;
    this.sound.stopClick();
    if (!take.recorded) return this.enter("ask");
    this.enter("keeping");
    take.advice = levelAdvice(this.loudest, this.peak, this.noise);
    await this.stopCapture();
    await Promise.all(this.writing);
    this.writing = [];
    if (take.byItself && !this.end.heard) return this.nobodyPlayed(take);
    this.weigh();
    if (this.flaws.size > 0) {
      take.advice = FLAW_WORDS[this.flaws.has("no room") ? "no room" : "lost"];
      await this.markGaps(take.id);
    }
    await this.store.markTake(take.id, { status: "ready" }).catch(() => undefined);
    if (this.now === take && take.phase === "keeping") this.enter("judging");
    this.poke();
  }

  /** Everything by which a recording can be known not to be whole. */
  weigh() {
    if (this.keyed) return void (this.holes && this.flaws.add("keyboard lost"));
    if (lostFrames(this.placed, this.fromFrame) > 0) this.flaws.add("lost frames");
    if (this.placed.length === 0) this.flaws.add("nothing came");
    if (this.holes > 0) this.flaws.add("holes");
    if (this.sound.dropped.frames > this.dropped) this.flaws.add("dropped by the browser");
  }

  /** A take that started by itself while nobody played is no try: nothing of it is kept. */
  async nobodyPlayed(/** @type {Take} */ take) {
    await this.store.dropTake(take.id).catch(() => undefined);
    if (this.now === take) this.drop();
    this.onNobody();
  }

  /** Not yet: a take in its count-in does not come, and is no try. */
  async cancel() {
    const take = this.now;
    if (take?.phase !== "count_in") return;
    this.sound.stopClick();
    this.enter("keeping");
    if (take.recorded) await this.stopCapture();
    await Promise.all(this.writing);
    if (take.recorded) await this.store.dropTake(take.id).catch(() => undefined);
    if (this.now === take) this.drop();
  }

  /** Another tab or device has taken over: what was recorded stays, and is not judged. */
  async abandon() {
    if (!this.busy) return;
    this.sound.stopClick();
    if (this.now?.recorded) await this.stopCapture();
    await Promise.all(this.writing);
    this.drop();
  }

  /** The server must not tell "no" from a take with a hole in it. */
  async markGaps(/** @type {string} */ takeId) {
    const kept = (await this.store.takes()).find((one) => one.takeId === takeId);
    const query = `${kept?.query}&source=gaps`;
    if (kept) await this.store.markTake(takeId, { query }).catch(() => undefined);
  }

  /** Resolves when the audio thread has handed over everything. @returns {Promise<void>} */
  stopCapture() {
    return new Promise((resolve) => {
      const late = setTimeout(() => {
        this.flaws.add("the end did not come");
        resolve();
      }, STOP_PATIENCE_MS);
      this.stopped = () => {
        clearTimeout(late);
        resolve();
      };
      this.sound.stopRecording();
    });
  }

  /** @param {Verdict | null} verdict @param {StepInfo | undefined} step */
  judged(verdict, step) {
    if (!this.now) return;
    this.now.verdict = verdict;
    const open = verdict === null || verdict.answer === "cannot_tell";
    this.enter(open || (verdict.answer === "yes" && step?.player_tests) ? "ask" : "verdict");
  }

  /** Judging failed: the server keeps the take and says so. @param {{what: string, remedy: string}} failed */
  unjudged(failed) {
    if (!this.now) return;
    this.now.failed = `${failed.what} ${failed.remedy}`;
    this.enter("ask");
  }

  refused(/** @type {string} */ why) {
    if (!this.now) return;
    this.now.why = why;
    this.enter("ask");
  }

  enter(/** @type {TakePhase} */ phase) {
    if (!this.now) return;
    this.now.phase = phase;
    this.now.sinceMs = timeNow();
    this.changed();
  }

  drop() {
    this.now = null;
    this.changed();
  }

  get clipping() {
    return this.recording && this.peak >= CLIPPED;
  }
}

/** @param {StepInfo} step @param {ClickChoice} click @param {number} noise */
function takeEnd(step, click, noise) {
  const beatS = 60 / (click.bpm * click.unit); // of a quarter
  const known = step.passage_beats !== null && step.tempo_bpm !== null;
  const expectedS = known ? (step.passage_beats ?? 0) * beatS : null;
  return new TakeEnd(expectedS, step.longest_rest_beats * beatS, noise);
}

/**
 * What the server is told of a take.
 * @param {Session} session @param {Place} place @param {number | null} clickBpm
 * @param {object | null} track when the clicks were made, in seconds of the recording
 * @param {string} at
 */
function asked(session, place, clickBpm, track, at) {
  const query = new URLSearchParams({
    step_id: place.slot.step_id,
    session_id: session.id,
    slot_id: place.slot.id,
    at,
    day: session.day,
  });
  if (clickBpm !== null) query.set("click_bpm", String(clickBpm));
  if (track !== null) query.set("click", JSON.stringify(track));
  return { sessionId: session.id, query: query.toString() };
}

/**
 * When the clicks were made, in seconds of the recording (the server's `domain.take.ClickTrack`).
 * @param {import("./clicks.js").ClickPlan} plan @param {number} unit of a click in quarters
 * @param {number} musicFrame @param {number} fromFrame @param {number} rate
 */
function trackOf(plan, unit, musicFrame, fromFrame, rate) {
  return {
    first_s: (plan.f0 - fromFrame) / rate,
    every_s: plan.samplesPerBeat / rate,
    unit_beats: unit,
    music_s: (musicFrame - fromFrame) / rate,
    per_bar: plan.perBar,
    accent: plan.accentOffset,
    count: plan.count === Infinity ? null : plan.count,
  };
}
