// @ts-check
// The desk holds everything together: one queue of keys, ticks and answers, each handled to its
// end before the next, so that what is written down is always what was seen.

/** @import {Scene, Context, Happening, Snapshot, StepInfo, Answer} from "../model.js" */
/** @import {ClickChoice} from "../audio/take.js" */
import * as actions from "./actions.js";
import { CALM, due, scene } from "./scene.js";
import { EventLog, closed, sessionOf } from "./log.js";
import { placesOf, slotTries } from "./reducer.js";
import { HandsFree } from "./hands-free.js";
import { PassagePlayer } from "../audio/play-passage.js";
import { shortened } from "./late.js";
import { Sound } from "../audio/sound.js";
import { Takes } from "../audio/take.js";
import { isoLocal, minutesLeftOf, practiceDay, ruleDays } from "./dates.js";
import { now as timeNow } from "./monotonic-clock.js";

const VERDICT_WAIT_MS = 8_000; // so long a verdict holds the end of a slot
const ASK_WAIT_MS = 15_000; // so long the page's question does
const SOUND_WAIT_MS = 2_500; // sound and microphone after a reload
const VERDICT_SHOWN_MS = 25_000;

export class Desk {
  /**
   * @param {import("../keeping/store.js").SessionStore} store
   * @param {() => void} poke tells the outbox
   * @param {() => void} changed
   * @param {() => void} tell tells the other tabs
   */
  constructor(store, poke, changed, tell) {
    this.store = store;
    this.changed = changed;
    this.tell = tell;
    this.log = new EventLog(store, poke);
    this.sound = new Sound();
    this.sound.onChange = changed;
    this.hear = new PassagePlayer(changed);
    this.takes = new Takes(this.sound, store, poke, changed);
    this.handsFree = new HandsFree(this);
    this.takes.onNobody = () => this.nobodyPlayed();
    /** @type {Snapshot | null} */
    this.snapshot = null;
    /** @type {Context} */
    this.context = { ...CALM };
    this.leading = false;
    this.confirming = false;
    /** The words that stand in the open intention. @type {() => string} */
    this.written = () => "";
    this.volume = 0.6;
    /** Asks for a tick in so many milliseconds. @type {(inMs: number) => void} */
    this.tickAt = () => {};
    /** @type {number | null} */
    this.endsMs = null;
    /** @type {Map<string, ClickChoice>} */
    this.clicks = new Map();
    /** @type {Map<string, number>} when an answer was first seen here */
    this.seen = new Map();
    /** A session that is over and gave way to today's newer plan. @type {string | null} */
    this.passed = null;
    /** One line that goes away by itself. @type {{words: string, untilMs: number} | null} */
    this.word = null;
    /** @type {Promise<void>} */
    this.queue = Promise.resolve();
    this.ticking = false;
  }

  get session() {
    return this.log.session;
  }

  /** @returns {Scene} */
  scene(now = timeNow()) {
    return scene(this.session, now, this.context);
  }

  step(/** @type {string} */ stepId) {
    return this.snapshot?.steps[stepId];
  }

  /** What to begin: today's plan, unless it was played already. */
  get plan() {
    return this.snapshot?.next_plan ?? this.snapshot?.plan ?? null;
  }

  /** Handles one thing after the other. A fault of one does not stop the next. */
  enqueue(/** @type {() => Promise<void>} */ work) {
    this.queue = this.queue.then(work).catch((fault) => console.error(fault));
    return this.queue;
  }

  async adopt(/** @type {Snapshot} */ snapshot) {
    this.snapshot = snapshot;
    this.context.quietS = snapshot.settings.quiet_seconds;
    ruleDays(snapshot.days);
    this.volume = (await this.store.recall("volume")) ?? snapshot.settings.click_volume / 100;
    const clicks = (await this.store.recall("clicks")) ?? [];
    for (const [id, choice] of clicks) this.clicks.set(id, choice);
    await this.store.forget(snapshot.settled ?? []).catch(() => undefined);
    await this.store.keep(snapshot.events, 0).catch(() => undefined);
    this.log.add(snapshot.events);
    await this.reread();
    const today = practiceDay(timeNow());
    const session = this.session;
    if (session && session.endedMs === null && session.day !== today) {
      await this.log.write(closed(session));
    }
    const again = session?.endedMs != null && snapshot.next_plan !== null;
    const old = session?.endedMs != null && session.day !== today;
    if (old || (again && snapshot.next_plan?.id !== session?.plan.id)) {
      this.passed = this.log.sessionId;
      this.log.choose(null);
    }
  }

  /** Takes in what this browser holds, also what another tab wrote. */
  async reread() {
    this.log.add(await this.store.events());
    if (this.log.sessionId === null) {
      const found = sessionOf(this.log.known.values(), practiceDay(timeNow()));
      if (found !== this.passed) this.log.choose(found);
    }
    this.changed();
  }

  /** Another device wrote these: kept here too, and not sent again. */
  async elsewhere(/** @type {import("../model.js").Event[]} */ events) {
    await this.store.keep(events, 0).catch(() => undefined);
    this.log.add(events);
    this.tell();
    await this.reread();
  }

  /** A take that was cut off by a crash is kept, and not judged: it was no fair try. */
  async rescueTakes() {
    for (const take of await this.store.takes()) {
      if (take.status !== "recording" || take.takeId === this.takes.now?.id) continue;
      const query = `${take.query}&judge=no&source=interrupted`;
      const heard = (await this.store.batches(take.takeId)).length > 0;
      if (!heard) await this.store.dropTake(take.takeId);
      else {
        await this.store.markTake(take.takeId, { status: "ready", query });
        this.say("The interrupted take is saved but not judged. Answer it, or record again.");
      }
    }
  }

  say(/** @type {string} */ words, ms = 12_000) {
    this.word = { words, untilMs: timeNow() + ms };
    this.changed();
  }

  async write(/** @type {Happening[]} */ happenings) {
    await this.log.write(happenings);
    if (happenings.length) {
      this.tell();
      this.changed();
    }
  }

  tick() {
    if (this.ticking) return;
    this.ticking = true;
    void this.enqueue(async () => {
      this.ticking = false;
      if (this.leading) await this.advance();
      this.changed();
    });
  }

  /** What time alone makes happen. */
  async advance() {
    await this.takes.tick();
    this.weigh();
    for (let one; (one = due(this.session, timeNow(), this.context)); ) {
      if (one.data.kind === "intention_set") {
        one.data.words = this.written();
        this.context.typedMs = 0;
      }
      if (one.data.kind === "intention_set" && one.data.words) one.byTime = false;
      await this.write([one]);
      this.leave();
    }
    await this.handsFree.advance();
    const seen = this.scene();
    const ends = "endsMs" in seen ? seen.endsMs : null;
    this.sound.ringAt(this.context.busy ? null : ends);
    if (ends !== null && ends !== this.endsMs) this.tickAt(ends - timeNow());
    this.endsMs = ends;
  }

  /** Brings the context up to now: is a take in the way, was the cold answer seen. */
  weigh() {
    const now = timeNow();
    const take = this.takes.now;
    const since = take ? now - take.sinceMs : 0;
    const waits =
      this.takes.busy ||
      (take?.phase === "judging" && since < VERDICT_WAIT_MS) ||
      (take?.phase === "ask" && since < ASK_WAIT_MS);
    if (this.context.busy && !waits) this.context.freeSinceMs = now;
    this.context.busy = waits;
    if (take?.phase === "verdict" && since > VERDICT_SHOWN_MS) this.takes.drop();
    this.context.coldSinceMs = this.coldSince(now);
  }

  /** @param {number} now @returns {number | null} */
  coldSince(now) {
    const run = this.session?.runs.at(-1);
    const open = this.takes.now && this.takes.now.phase !== "verdict";
    if (!this.session || !run || run.endedMs !== null || open) return null;
    const answered = slotTries(this.session, run.slotId).find(
      (t) => t.answer !== "cannot_tell" || t.judge === "player",
    );
    if (!answered) return null;
    if (!this.seen.has(answered.id)) this.seen.set(answered.id, now);
    return this.seen.get(answered.id) ?? null;
  }

  /**
   * Where the shown slot's passage can be heard, at the tempo of the click. A cold take is not told
   * beforehand how it sounds.
   * @param {Scene} seen
   */
  soundOf(seen) {
    if (seen.screen !== "slot" || seen.place.slot.kind === "cold" || this.takes.busy) return "";
    const { step_id } = seen.place.slot;
    const step = this.step(step_id);
    if (!step?.notation || step.picture) return "";
    const click = this.clickOf(step, step_id);
    return `${step.notation.replace(".svg", ".wav")}${step.notation.includes("?") ? "&" : "?"}bpm=${click.bpm * click.unit}`;
  }

  async listen() {
    const address = this.soundOf(this.scene());
    const told = address ? await this.hear.toggle(address) : undefined;
    if (told) this.say(told);
  }

  /** The last take, from where its first fault was heard. */
  async replay(/** @type {number} */ fromS) {
    const { now } = this.takes;
    if (!now?.verdict || !now.recorded || this.takes.busy) return;
    const told = await this.hear.toggle(`/takes/${now.id}/sound`, fromS);
    if (told) this.say(told);
  }

  /** A new slot: what stood there of the last one goes. */
  leave() {
    const run = this.session?.runs.at(-1);
    if (run?.endedMs !== null) this.hear.stop();
    const { now, busy } = this.takes;
    if (now && !busy && (run?.slotId !== now.slotId || run?.endedMs !== null)) this.takes.drop();
  }

  /** How late it is: the plan cut to what is left of its time, or null. */
  shortened(now = timeNow()) {
    const { plan, snapshot } = this;
    if (!plan || !snapshot?.late) return null;
    const slots = placesOf(plan).reduce((sum, p) => sum + p.slot.minutes, 0);
    const whole = slots + (plan.periods.length - 1) * plan.rules.break_min;
    const minutes = minutesLeftOf(plan, whole, now);
    if (minutes === null) return null;
    const cut = shortened(plan, snapshot.late, minutes);
    return cut.dropped.length && cut.plan.periods.length ? { ...cut, minutes, whole } : null;
  }

  /** Begins the session. Called from a key or touch, as sound and microphone need one. */
  async start(/** @type {boolean} */ full) {
    void this.openSound();
    const late = full ? null : this.shortened();
    const plan = late?.plan ?? this.plan;
    if (!plan) return this.startUnplanned();
    const session_id = this.log.newId();
    this.log.choose(session_id);
    await this.write([{ atMs: timeNow(), data: { kind: "session_started", session_id, plan } }]);
    void this.store.forgetOthers(session_id).catch(() => undefined);
  }

  /** Nothing is planned for today: the server plans and begins. */
  async startUnplanned() {
    const headers = { "Content-Type": "application/json" };
    try {
      const response = await fetch("/api/session/start", { method: "POST", body: "{}", headers });
      const body = await response.json();
      if (!response.ok) return this.say([body.error.what, body.error.remedy].join(" "), 30_000);
      await this.store.note("snapshot", body);
      this.log.choose(null);
      await this.adopt(body);
    } catch {
      this.say("Coldtake does not answer, and no plan is saved here. Start Coldtake again.", 30_000);
    }
  }

  openSound() {
    const steps = Object.values(this.snapshot?.steps ?? {});
    return this.sound.open(steps.some((step) => step.heard));
  }

  /** @returns {ClickChoice} */
  clickOf(/** @type {StepInfo | undefined} */ step, /** @type {string} */ stepId) {
    const unit = step?.click.beat_unit_beats ?? 1;
    const tempo = step ? actions.clickTempo(step, this.isCold(stepId)) : null;
    const own = {
      on: tempo !== null && (step?.click.on ?? false),
      through: true,
      bpm: Math.round((tempo ?? 80) / unit),
      unit,
      perBar: step?.click.beats_per_bar ?? 4,
      bars: step?.click.count_in_bars ?? 1,
      beats: step?.click.on_beats ?? [],
      barsOn: step?.click.bars_on ?? 1,
      barsOff: step?.click.bars_off ?? 0,
    };
    return { ...own, ...this.clicks.get(stepId) };
  }

  /** Whether the slot now is the one chance at a step. */
  isCold(/** @type {string} */ stepId) {
    const seen = this.scene();
    return seen.screen === "slot" && seen.place.slot.step_id === stepId && seen.place.slot.kind === "cold";
  }

  async setClick(/** @type {string} */ stepId, /** @type {Partial<ClickChoice>} */ change) {
    this.clicks.set(stepId, { ...this.clickOf(this.step(stepId), stepId), ...change });
    this.changed();
    await this.store.note("clicks", [...this.clicks]).catch(() => undefined);
  }

  /** An answer of the player: to the take that the page shows, else to a try without one. */
  async answer(/** @type {Answer} */ answer) {
    const session = this.session;
    if (!session || this.takes.busy) return;
    const take = this.takes.now;
    const seen = this.scene();
    if (seen.screen !== "slot") return;
    // A tempo is known where one was heard, or the click went through; a click that is only chosen is none.
    const tempoBpm = take?.verdict?.tempo_bpm ?? take?.clickBpm ?? null;
    const tryId = take?.id ?? this.log.newId();
    const takeId = take?.recorded ? take.id : null;
    const about = { tryId, takeId, tempoBpm };
    const happened = actions.answerTry(session, seen, answer, timeNow(), about);
    await this.write(happened);
    if (happened.length === 0) this.say("A cold take is one try. To answer again, press Undo answer.");
    else this.sound.signal(answer);
    if (take && happened.length) this.takes.drop();
  }

  /** The server has heard a take. */
  async verdict(/** @type {{takeId: string, reply: any}} */ { takeId, reply }) {
    this.log.add(reply.events);
    this.tell();
    const step = this.step(this.takes.now?.stepId ?? "");
    if (this.takes.now?.id === takeId) {
      this.takes.now.failed = "";
      if (reply.failed) this.takes.unjudged(reply.failed);
      else this.takes.judged(reply.verdict, step);
      if (reply.verdict) this.sound.signal(reply.verdict.answer);
    } else if (reply.failed) {
      this.say(`Earlier take: ${reply.failed.what} ${reply.failed.remedy}`);
    } else if (reply.verdict) {
      const words = { yes: "yes", no: "no", cannot_tell: "cannot tell" };
      const answer = /** @type {Answer} */ (reply.verdict.answer);
      this.say(`Earlier take: ${words[answer]}. ${reply.verdict.reason}`);
    }
    this.changed();
  }

  /** Judging a take failed, and the player wants it tried again. */
  async judgeAgain(/** @type {string} */ takeId) {
    if (this.takes.now?.id === takeId) this.takes.enter("judging");
    const failed = { what: "Coldtake did not answer.", remedy: "The take is saved." };
    const headers = { Accept: "application/json" };
    const reply = await fetch(`/takes/${takeId}/listen`, { method: "POST", headers })
      .then((response) => (response.ok ? response.json() : { events: [], verdict: null, failed }))
      .catch(() => ({ events: [], verdict: null, failed }));
    await this.enqueue(() => this.verdict({ takeId, reply }));
  }

  /** The server cannot read a take; it stays here, and the player answers. */
  refusedTake(/** @type {{takeId: string, why: string}} */ { takeId, why }) {
    if (this.takes.now?.id === takeId) this.takes.refused(why);
    else this.say(why);
  }

  /** A take that started by itself, and nobody was there: the player's key starts the next. */
  nobodyPlayed() {
    const seen = this.scene();
    if (seen.screen === "slot") this.handsFree.stopped.add(seen.place.slot.id);
    this.say("Nothing was played, so nothing was saved. Press a key to record.", 30_000);
  }

  async take(byItself = false) {
    const seen = this.scene();
    if (!this.session || seen.screen !== "slot" || seen.coldDone) return;
    const { slot } = seen.place;
    if (slot.kind === "cold" && slotTries(this.session, slot.id).length) {
      return this.say("A cold take is one try.");
    }
    const step = this.step(slot.step_id);
    if (!step) return;
    await Promise.race([this.openSound(), new Promise((done) => setTimeout(done, SOUND_WAIT_MS))]);
    if (step.heard && this.sound.mic === "asking") {
      return this.say("First allow or block the microphone. Then press again.");
    }
    this.hear.stop(); // the microphone must not hear it
    const click = this.clickOf(step, slot.step_id);
    const id = this.log.newId();
    if (!byItself) this.handsFree.wanted(slot.id);
    const { takes, session, volume } = this;
    await takes.start(id, session, seen.place, step, click, volume, isoLocal, byItself);
    this.sound.ringAt(null);
  }
}
