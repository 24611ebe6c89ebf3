// @ts-check
// What stands under the great bar while a slot runs: the question, or what was told of a take.

/** @import {Desk} from "../flow/desk.js" */
/** @import {Scene, Slot, StepInfo, Answer} from "../model.js" */
/** @import {Take} from "../audio/take.js" */
import { el, html, score, show, sign, svg, text } from "./dom.js";
import { answersTo, progress } from "../flow/reducer.js";
import { now as timeNow } from "../flow/monotonic-clock.js";

const WORDS = { yes: "Yes", no: "No", cannot_tell: "Cannot tell" };
const LONG = 60; // letters of a question that is set smaller
const JUDGING_LONG_MS = 8_000;

/**
 * @param {Desk} desk
 * @param {Extract<Scene, {screen: "slot"}>} seen
 * @param {Slot | null} spare
 */
export function drawSlot(desk, seen, spare) {
  const { slot } = seen.place;
  const step = desk.step(slot.step_id);
  const { session } = desk;
  if (!session) return;
  text(el("slot-title"), step ? `${step.topic_title}: ${step.title}` : "Deleted step");
  show(el("slot-cold"), slot.kind === "cold");
  const question = slot.question || step?.question || "";
  score(el("slot-question"), question);
  el("slot-question").classList.toggle("long", question.length > LONG);
  text(el("slot-goal"), step ? goalWords(slot, step) : slot.goal);
  const meant = session.intentions.get(slot.id)?.words || session.intentions.get("")?.words || "";
  show(el("slot-intention"), meant !== "");
  text(el("slot-intention"), meant);
  const row = step && progress(step.times, [...step.answers_before, ...answersTo(session, slot.step_id)]);
  show(el("slot-row"), row !== undefined && row.wanted > 1);
  if (row && step) drawRow(row.have, row.wanted, step.times.among);
  const answers = answersTo(session, slot.step_id);
  const lucky = step?.lucky?.[answers.length - 1] ?? "";
  drawOffer(desk, spare, offers(slot, row?.met === true && answers.at(-1) === true), lucky);
  drawTold(desk, seen);
}

/**
 * The goal with what the exercise says; a way through the tempi is for work, not for one chance.
 * @param {Slot} slot @param {StepInfo} step
 */
export const goalWords = (slot, step) =>
  [slot.goal, step.written, slot.kind === "cold" && step.way ? "" : step.words].filter(Boolean).join(" ");

/** Met with time left: of a cold take nothing is left to stay with. */
export const offers = (/** @type {Slot} */ slot, /** @type {boolean} */ met) => met && slot.kind === "work";

/** As many heads as are asked for, the ones reached inked. */
function drawRow(
  /** @type {number} */ have,
  /** @type {number} */ wanted,
  /** @type {number | null} */ among,
) {
  const node = el("slot-row");
  const words = among ? `${have} of ${wanted}, in the last ${among}` : `${have} of ${wanted} in a row`;
  if (node.dataset.words === words) return;
  node.dataset.words = words;
  const heads = Array.from({ length: Math.min(wanted, 12) }, (_, i) =>
    sign(i < have ? "yes" : "no", 14 + 24 * i, 14, 24),
  );
  const width = 28 + 24 * (heads.length - 1);
  const size = { viewBox: `0 0 ${width} 28`, "aria-hidden": "true" };
  node.replaceChildren(svg("svg", { ...size, class: "heads" }, ...heads), html("span", words));
}

/** Met with time left: stay with it, or let the spare slot have the rest. */
function drawOffer(
  /** @type {Desk} */ desk,
  /** @type {Slot | null} */ spare,
  /** @type {boolean} */ met,
  /** @type {string} how often a pass is luck after so many tries: "81 times in 100" */ lucky,
) {
  show(el("offer"), met && !desk.takes.busy);
  if (!met) return;
  show(el("offer-spare"), spare !== null);
  const other = spare && desk.step(spare.step_id);
  const rest = other
    ? `or press S to use the last ${spare.minutes} min for “${other.topic_title}: ${other.title}”.`
    : "or press M for the next slot.";
  const luck = lucky ? ` A passage that is clean only half the time also passes within this many tries ${lucky}.` : "";
  text(el("offer-words"), `Criterion met.${luck} Continue, ${rest}`);
}

/** @param {Desk} desk @param {Extract<Scene, {screen: "slot"}>} seen */
function drawTold(desk, seen) {
  const take = desk.takes.now;
  const last = seen.coldDone
    ? desk.session?.tries.findLast((t) => t.slotId === seen.place.slot.id)
    : undefined;
  show(el("told"), take !== null || last !== undefined);
  if (take) {
    const [word, reason, more] = toldOf(take);
    const answer = take.phase === "verdict" ? take.verdict?.answer : undefined;
    say(word, reason, [more, answer && meant(desk, seen.place.slot, answer)].filter(Boolean).join(" "));
    if (take.recorded && take.verdict && !el("told-more").querySelector("a")) evidence(take.id);
    if (take.phase === "ask" && take.failed && !el("told-more").querySelector("button")) again(desk, take.id);
  } else if (last) {
    const more = meant(desk, seen.place.slot, last.answer);
    say(WORDS[last.answer], "The next slot starts by itself. Backspace: undo answer.", more);
  }
  // The sign beside the word: never the word or the colour alone.
  const answer = take ? (take.verdict && ["verdict", "ask"].includes(take.phase) && !needsPlayer(take) ? take.verdict.answer : "") : last?.answer ?? "";
  drawSign(answer);
  el("told").dataset.means = String(!take && el("told-more").textContent !== "");
  el("told").dataset.answer = take?.verdict?.answer ?? last?.answer ?? "";
}

/**
 * What the cold takes support with this one, as the server said beforehand; no later try is cold.
 * @param {Desk} desk @param {Slot} slot @param {Answer} answer
 */
function meant(desk, slot, answer) {
  const made = desk.session?.tries.filter((t) => t.stepId === slot.step_id) ?? [];
  if (slot.kind !== "cold" || answer === "cannot_tell" || made.length > 1) return "";
  return desk.step(slot.step_id)?.after_cold?.[answer] ?? "";
}

/** What can be heard is right, and the rest only the player can tell. */
const needsPlayer = (/** @type {Take} */ take) => take.phase === "ask" && take.verdict?.answer === "yes";

function drawSign(/** @type {string} */ answer) {
  const node = el("told-sign");
  if (node.dataset.answer === answer) return;
  node.dataset.answer = answer;
  node.replaceChildren(...(answer ? [sign(answer, 14, 14, 28)] : []));
}

function say(/** @type {string} */ word, /** @type {string} */ reason, /** @type {string} */ more) {
  text(el("told-word"), word);
  text(el("told-reason"), reason);
  const node = el("told-more");
  if (node.dataset.words === more) return;
  node.dataset.words = more;
  node.textContent = more;
}

/** Where the note by note evidence is; in a tab of its own, as the sound lives in this one. */
function evidence(/** @type {string} */ takeId) {
  const link = /** @type {HTMLAnchorElement} */ (html("a", "Show all notes"));
  link.href = `/takes/${takeId}`;
  link.target = "_blank";
  const replay = html("button", "Play from the first fault ");
  replay.append(html("kbd", "R"));
  replay.dataset.do = "replay";
  el("told-more").append(" ", link, " ", replay);
}

/** Judging failed: the player may have it tried again at once. */
function again(/** @type {Desk} */ desk, /** @type {string} */ takeId) {
  const button = html("button", "Try again");
  button.addEventListener("click", () => void desk.judgeAgain(takeId));
  el("told-more").append(" ", button);
}

/** @param {Take} take @returns {[string, string, string]} word, reason, more */
function toldOf(take) {
  switch (take.phase) {
    case "count_in":
      return [take.beat ? String(take.beat) : "Ready", "", ""];
    case "playing":
      return take.recorded
        ? ["Recording", "It ends by itself after the last note.", ""]
        : ["Play", "Not recorded. Press again after the last note.", ""];
    case "keeping":
    case "judging":
      return judging(take);
    case "verdict":
      return [verdictWord(take), reasons(take), advice(take, "Do you disagree? Press Y or N.")];
    case "ask":
      return asking(take);
  }
}

/** @param {Take} take @returns {[string, string, string]} */
function judging(take) {
  if (timeNow() - take.sinceMs < JUDGING_LONG_MS) return ["Judging", "", ""];
  const reason = "The take is saved here. Coldtake does not answer yet.";
  return ["Saved", reason, "Answer yourself (Y or N), or record again."];
}

/** @param {Take} take @returns {[string, string, string]} */
function asking(take) {
  if (take.why) return ["Yes or no?", take.why, ""];
  if (take.failed) return ["Not judged", take.failed, "Answer yourself: Y or N."];
  if (!take.verdict) return ["Yes or no?", "", ""];
  if (take.verdict.answer === "yes") {
    const heard = "All that Coldtake can test is passed.";
    return ["Yes or no?", `${heard} Only you can answer the rest.`, take.advice];
  }
  return [verdictWord(take), reasons(take), advice(take, "Answer yourself: Y or N.")];
}

const verdictWord = (/** @type {Take} */ take) =>
  WORDS[/** @type {Answer} */ (take.verdict?.answer ?? "cannot_tell")];

const reasons = (/** @type {Take} */ take) => take.verdict?.reason ?? "";

/** What to do next, in small: the tool's remedy, the level, and how to answer otherwise. */
const advice = (/** @type {Take} */ take, /** @type {string} */ how) =>
  [take.verdict?.remedy || take.advice, how].filter(Boolean).join(" ");
