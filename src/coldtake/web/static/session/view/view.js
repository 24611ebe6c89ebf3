// @ts-check
// The page as it stands now. Draws only what changed; holds nothing that a reload would lose.

/** @import {Desk} from "../flow/desk.js" */
/** @import {Scene, Place, Session, Slot} from "../model.js" */
import { spareFor } from "../flow/actions.js";
import { BREAK_LEAST_MS, nextPlace } from "../flow/scene.js";
import { GreatBar } from "./bar-now.js";
import { MusicPage, isChart, markedNotation, sized } from "./music-page.js";
import { ScoreBars } from "./score-bars.js";
import { dayLine } from "./day-line.js";
import { el, html, show, sign, svg, text } from "./dom.js";
import { placesOf, slotTries } from "../flow/reducer.js";
import { drawHands } from "./view-hands.js";
import { drawSlot } from "./view-slot.js";
import { calendarDay, clockTime, left, minutesSaid, minutesWritten, practiceDay } from "../flow/dates.js";
import { now as timeNow } from "../flow/monotonic-clock.js";

export class View {
  constructor() {
    this.bar = new GreatBar(/** @type {any} */ (el("bar")));
    this.lineShape = "";
    this.startShape = "";
    this.endShape = "";
    this.screen = "";
    this.place = "";
    this.pages = [...document.querySelectorAll("[data-page]")].map(
      (figure) => new MusicPage(/** @type {HTMLElement} */ (figure)),
    );
    this.score = new ScoreBars();
  }

  draw(/** @type {Desk} */ desk) {
    const now = timeNow();
    const seen = desk.scene(now);
    const screen = desk.snapshot ? seen.screen : "wait";
    const { body } = document;
    body.dataset.screen = screen;
    body.dataset.take = desk.takes.now?.phase ?? "none";
    body.dataset.recording = String(desk.takes.recording);
    for (const section of document.querySelectorAll("[data-scene]")) {
      show(section, /** @type {HTMLElement} */ (section).dataset.scene === screen);
    }
    if (desk.snapshot) this.drawScene(desk, seen, now);
    this.announce(desk, seen, screen);
    show(el("confirm"), desk.confirming);
  }

  /** @param {Desk} desk @param {Scene} seen @param {number} now */
  drawScene(desk, seen, now) {
    this.drawLine(desk);
    this.drawClock(desk, seen, now);
    drawHands(desk, seen);
    switch (seen.screen) {
      case "start":
        return this.drawStart(desk, now);
      case "intention":
        return this.drawIntention(desk, seen, now);
      case "quiet":
        return text(el("quiet-words"), intentionWords(desk.session, ""));
      case "slot":
        this.drawPage(desk, seen.place);
        return drawSlot(desk, seen, spareFor(/** @type {Session} */ (desk.session), seen, now));
      case "break":
        return drawBreak(desk, seen, now);
      case "between":
        return drawBetween(desk, seen);
      case "end":
        return this.drawEnd(desk);
    }
  }

  drawLine(/** @type {Desk} */ desk) {
    const { session } = desk;
    // what is counted in words is what is drawn: before a late start, the plan cut to its time
    const of = session?.plan ?? desk.shortened()?.plan ?? desk.plan;
    show(el("line"), of !== null);
    if (!of) return;
    const runs = session?.runs.map((r) => `${r.slotId}${r.endedMs}`).join() ?? "";
    const tries = session?.tries.map((t) => t.id + t.answer).join() ?? "";
    const lengths = placesOf(of).map((p) => p.slot.id + p.slot.minutes).join();
    const shape = [of.id, lengths, session?.places.length, runs, tries, session?.breaks.length].join("|");
    if (shape === this.lineShape) return;
    this.lineShape = shape;
    el("line").replaceChildren(dayLine(of, session, lineWords(session, placesOf(of))));
  }

  /** @param {Desk} desk @param {Scene} seen @param {number} now */
  drawClock(desk, seen, now) {
    const { atMs } = desk.handsFree.chain(seen);
    const bar = barOf(desk, seen, atMs === Infinity ? null : atMs);
    show(el("clock"), bar !== null);
    if (!bar) return;
    this.bar.draw(bar, now);
    const rest = left(bar.endsMs, now);
    text(el("left"), rest.minutes ? `${minutesSaid(rest.minutes)} left` : "less than 1 minute left");
  }

  /** @param {Desk} desk @param {number} now */
  drawStart(desk, now) {
    const { plan } = desk;
    const late = desk.shortened(now);
    const places = plan ? placesOf(late?.plan ?? plan) : [];
    const minutes = Math.floor(now / 60_000);
    const shape = [plan?.id, late?.dropped.length, minutes, desk.leading].join();
    if (shape === this.startShape) return;
    this.startShape = shape;
    text(el("start-title"), plan ? `${countWords(places)} today` : "Nothing is planned for today");
    text(el("start-words"), plan ? startWords(desk, now) : "Start makes a plan with your usual minutes.");
    show(el("start-plan"), !plan);
    /** @type {HTMLAnchorElement} */ (el("start-plan")).href = `/tomorrow?day=${desk.snapshot?.day}`;
    const run = plan?.run ?? null;
    text(el("start-run"), run ? `Start run-through first (${run.minutes} min)` : "Start run-through");
    /** @type {HTMLAnchorElement} */ (el("start-run")).href = run ? runAddress(run) : "/run-through";
    show(el("start-full"), late !== null);
    text(el("start-full"), `Use all ${late?.whole ?? 0} min`);
    el("start-slots").replaceChildren(...places.map((place) => slotLine(desk, place)));
  }

  /** @param {Desk} desk @param {Extract<Scene, {screen: "intention"}>} seen @param {number} now */
  drawIntention(desk, seen, now) {
    const { place } = seen;
    const first = place === null;
    text(el("intention-title"), first ? "What is your aim for today?" : "What do you want to hear?");
    const next = place ?? nextPlace(/** @type {Session} */ (desk.session));
    text(el("intention-next"), next ? `${first ? "First" : "Next"}: ${placeWords(desk, next)}` : "");
    const words = /** @type {HTMLInputElement} */ (el("intention-words"));
    const key = `${desk.session?.id}/${place?.slot.id}`;
    if (words.dataset.of !== key) words.value = "";
    if (words.dataset.of !== key || this.screen !== "intention") words.focus({ preventScroll: true });
    words.dataset.of = key;
    text(el("intention-set"), words.value.trim() ? "Save" : "Skip");
    const soon = seen.endsMs === null ? "" : `starts in ${left(seen.endsMs, now).all} s`;
    text(el("intention-soon"), soon);
    if (next) this.drawPage(desk, next);
  }

  /** @param {Desk} desk @param {Place} place */
  drawPage(desk, place) {
    const step = desk.step(place.slot.step_id);
    const words = step?.notation ? `${isChart(step.notation) ? "Chart" : "Notation"}: ${step.title}` : "";
    const { now } = desk.takes;
    const marked = now?.verdict && now.recorded && ["verdict", "ask"].includes(now.phase);
    const url = marked && step?.notation ? markedNotation(now.id) : step?.notation ? sized(step.notation) : "";
    for (const page of this.pages) {
      const scene = /** @type {HTMLElement | null} */ (page.figure.closest("[data-scene]"));
      if (scene && !scene.hidden) page.show(url, words, place.slot.step_id);
    }
    document.body.dataset.music = isChart(url) ? "chart" : url ? "notes" : "none";
    this.follow(desk, place.slot.step_id);
  }

  /** Turns the page where the click says that the player is. */
  follow(/** @type {Desk} */ desk, /** @type {string} */ stepId) {
    const { now } = desk.takes;
    const step = desk.step(stepId);
    const page = this.pageInSight;
    if (!page || page.pages < 2 || !step?.notation) return;
    void this.score.load(step.notation);
    if (now?.phase !== "playing") return;
    const click = desk.clickOf(step, stepId);
    if (!click.on) return;
    const beat = ((timeNow() - now.musicMs) / 60_000) * click.bpm * click.unit;
    const measure = this.score.measureAt(step.notation, beat);
    if (measure) page.follow(measure);
  }

  /** The music that is shown now, undefined where none is. */
  get pageInSight() {
    return this.pages.find((one) => !one.figure.closest("[hidden]"));
  }

  /** Where in the sound of the take its first fault is; 0 where it has none. */
  faultS() {
    const seen = this.pageInSight;
    return Number(seen?.whole?.dataset.seekS ?? 0);
  }

  /** @param {1 | -1} direction */
  turn(direction) {
    this.pageInSight?.turn(direction);
  }

  drawEnd(/** @type {Desk} */ desk) {
    const session = /** @type {Session} */ (desk.session);
    const shape = [session.id, session.tries.map((t) => t.answer), session.note].join();
    if (shape === this.endShape) return;
    this.endShape = shape;
    const played = session.runs.reduce((sum, run) => sum + run.playedS, 0);
    const early = session.early ? ", ended early" : "";
    const said = played < 60 ? `${Math.round(played)} seconds` : minutesSaid(Math.round(played / 60));
    text(el("end-title"), `Played ${said}${early}`);
    el("end-counts").replaceChildren(...countsOf(session));
    const rows = session.places.map((place) => endRow(desk, session, place));
    el("end-table").querySelector("tbody")?.replaceChildren(...rows);
    const note = /** @type {HTMLInputElement} */ (el("end-note"));
    if (!note.value) note.value = session.note;
  }

  /** Says what changed, once, and puts the focus where keys act. */
  announce(/** @type {Desk} */ desk, /** @type {Scene} */ seen, /** @type {string} */ screen) {
    const place = "place" in seen ? (seen.place?.slot.id ?? "") : "";
    if (screen === this.screen && place === this.place) return;
    const active = document.activeElement;
    if (active instanceof HTMLElement && active.closest("[hidden]")) active.blur();
    if (screen !== "intention" && active?.id === "intention-words") el("intention-words").blur();
    if (this.screen && screen === "slot" && seen.screen === "slot") {
      text(el("said"), `${placeWords(desk, seen.place)}. ${seen.place.slot.question}`);
    } else if (screen === "break") text(el("said"), "Break.");
    if (this.screen && screen !== "intention") window.scrollTo(0, 0);
    this.screen = screen;
    this.place = place;
  }
}

/** @param {Desk} desk @param {Scene} seen @param {number | null} comingMs @returns {import("./bar-now.js").BarNow | null} */
function barOf(desk, seen, comingMs) {
  const { session } = desk;
  if (!session) return null;
  const plain = { tries: [], final: false, comingMs: null };
  if (seen.screen === "quiet") {
    const { sinceMs: startedMs, endsMs } = seen;
    return { ...plain, kind: "quiet", startedMs, endsMs, wholeMs: endsMs, name: "Quiet" };
  }
  if (seen.screen === "break") {
    const { startedMs } = seen.run;
    const { endsMs } = seen;
    return { ...plain, kind: "break", startedMs, endsMs, wholeMs: endsMs, name: "Break" };
  }
  if (seen.screen !== "slot") return null;
  const { startedMs, plannedS } = seen.run;
  return {
    kind: "slot",
    startedMs,
    endsMs: seen.endsMs,
    wholeMs: startedMs + plannedS * 1000,
    tries: slotTries(session, seen.run.slotId),
    comingMs,
    final: nextPlace(session) === null,
    name: `This slot: ${minutesSaid(Math.round(plannedS / 60))}`,
  };
}

/** @param {Session | null} session @param {Place[]} planned */
function lineWords(session, planned) {
  const places = session?.places ?? planned;
  const played = new Set(session?.runs.map((r) => r.slotId)).size;
  return `Session: ${countWords(places)}, ${played} started`;
}

/** What was yes, what was no, in signs and numbers. */
function countsOf(/** @type {Session} */ session) {
  const words = { yes: "yes", no: "no", cannot_tell: "cannot tell" };
  return /** @type {import("../model.js").Answer[]} */ (["yes", "no", "cannot_tell"])
    .map((answer) => ({ answer, n: session.tries.filter((t) => t.answer === answer).length }))
    .filter(({ answer, n }) => n > 0 || answer !== "cannot_tell")
    .map(({ answer, n }) => {
      const part = html("span");
      const drawn = svg("svg", { viewBox: "-12 -14 24 28", width: 36, height: 42, "aria-hidden": "true" });
      drawn.append(sign(answer, 0, 0));
      part.append(drawn, `${n} ${words[answer]}`);
      return part;
    });
}

/** @param {Session | null} session @param {string} slotId */
const intentionWords = (session, slotId) => session?.intentions.get(slotId)?.words ?? "";

/** @param {Desk} desk @param {Place} place */
export const placeWords = (desk, place) => stepWords(desk, place.slot);

/** A step by its topic and name: “Bars 1 to 4” stands in many topics. */
function stepWords(/** @type {Desk} */ desk, /** @type {Slot} */ slot) {
  const step = desk.step(slot.step_id);
  return step ? `${step.topic_title}: ${step.title}` : "a deleted step";
}

const counted = (/** @type {number} */ n, /** @type {string} */ one) => `${n} ${one}${n === 1 ? "" : "s"}`;

/** Bars and rests of the line in words, such as "5 slots and 1 break". */
function countWords(/** @type {Place[]} */ places) {
  const breaks = Math.max(0, new Set(places.map((p) => p.period)).size - 1);
  const slots = counted(places.length, "slot");
  return breaks ? `${slots} and ${counted(breaks, "break")}` : slots;
}

/** @param {Desk} desk @param {number} now */
function startWords(desk, now) {
  const late = desk.shortened(now);
  const plan = late?.plan ?? desk.plan;
  if (!plan) return "";
  const playing = placesOf(plan).reduce((sum, p) => sum + p.slot.minutes, 0);
  const whole = playing + (plan.periods.length - 1) * plan.rules.break_min;
  const length = minutesSaid(whole);
  const until = clockTime(now + whole * 60_000);
  const evening = practiceDay(now) < calendarDay(now) ? " It still counts for yesterday." : "";
  if (!late) return `${length}, until ${until}.${evening}`;
  const kept = new Set(plan.periods.flatMap((p) => p.slots.map((s) => s.step_id)));
  const gone = new Map(late.dropped.filter((s) => !kept.has(s.step_id)).map((s) => [s.step_id, s]));
  const out = [...gone.values()].map((slot) => stepWords(desk, slot)).join(", ");
  return `The session starts later than planned. It is now ${length}, until ${until}.${out && ` Left out: ${out}.`}${evening}`;
}

/** @param {{performance_id: string, topic_ids: string[]}} run */
function runAddress({ performance_id, topic_ids }) {
  const one = topic_ids.length === 1 ? `&topic=${topic_ids[0]}` : "";
  return `/run-through?performance=${performance_id}${one}`;
}

/** @param {Desk} desk @param {Place} place */
function slotLine(desk, place) {
  const line = html("li");
  line.append(
    html("span", placeWords(desk, place), "what"),
    html("span", `${place.slot.minutes} min${place.slot.kind === "cold" ? ", cold" : ""}`, "soft"),
  );
  return line;
}

/** @param {Desk} desk @param {Extract<Scene, {screen: "break"}>} seen @param {number} now */
function drawBreak(desk, seen, now) {
  const go = /** @type {HTMLButtonElement} */ (el("break-go"));
  const waits = now < seen.run.startedMs + BREAK_LEAST_MS;
  go.disabled = waits;
  text(go, waits ? `Continue from ${clockTime(seen.run.startedMs + BREAK_LEAST_MS)}` : "Continue");
}

/** @param {Desk} desk @param {Extract<Scene, {screen: "between"}>} seen */
function drawBetween(desk, seen) {
  const { rest, next } = seen;
  text(el("between-words"), `Since ${clockTime(seen.sinceMs)}. The clock is stopped.`);
  const restWords = rest
    ? `Continue: ${placeWords(desk, rest)}, ${minutesWritten(seen.restS)} left`
    : "";
  const nextWords = next
    ? `${rest ? "Next slot" : "Continue"}: ${placeWords(desk, next)}`
    : "End session";
  text(el("between-go"), rest ? restWords : nextWords);
  show(el("between-next"), rest !== null);
  text(el("between-next"), nextWords);
}

/** @param {Desk} desk @param {Session} session @param {Place} place */
function endRow(desk, session, place) {
  const row = html("tr");
  const name = html("td");
  name.append(placeWords(desk, place));
  const answers = html("td", "", "signs");
  const tries = slotTries(session, place.slot.id);
  for (const one of tries) {
    const words = { yes: "yes", no: "no", cannot_tell: "cannot tell" }[one.answer];
    const drawn = svg("svg", { viewBox: "-12 -14 24 28", width: 24, height: 28, role: "img" });
    drawn.setAttribute("aria-label", words);
    drawn.append(sign(one.answer, 0, 0));
    answers.append(drawn);
  }
  const counts = ["yes", "no", "cannot_tell"]
    .map((a) => /** @type {const} */ ([a, tries.filter((t) => t.answer === a).length]))
    .filter(([, n]) => n > 0)
    .map(([a, n]) => `${n} ${a.replace("_", " ")}`);
  const runs = session.runs.filter((r) => r.slotId === place.slot.id);
  const none = runs.length ? "no answer" : "not played";
  answers.append(html("span", counts.join(", ") || none, counts.length ? "" : "soft"));
  const seconds = runs.reduce((sum, run) => sum + run.playedS, 0);
  row.append(name, answers, html("td", runs.length ? minutesWritten(seconds) : "", "n"));
  return row;
}
