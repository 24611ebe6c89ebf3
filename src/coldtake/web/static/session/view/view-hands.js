// @ts-check
// The row of large targets, the level, the drawers for click and keys, and the notices.

/** @import {Desk} from "../flow/desk.js" */
/** @import {Scene, StepInfo} from "../model.js" */
import { attr, el, html, show, text } from "./dom.js";
import { KEYS } from "../flow/shortcuts.js";
import { slotTries } from "../flow/reducer.js";
import { MIC_SHORT, MIC_WORDS } from "../audio/sound.js";
import { LEAST_LEVEL_DB, levelDb } from "../audio/take-end.js";
import { clockTime } from "../flow/dates.js";
import { now as timeNow } from "../flow/monotonic-clock.js";

const SOON_MS = 30_000; // a take that starts by itself is announced so long before
/** @type {Record<string, string>} */
const LOOKS = { dark: "dark", sun: "high contrast" };
const RUNNING = ["slot", "break", "between", "quiet", "intention"];

/** @param {Desk} desk @param {Scene} seen */
export function drawHands(desk, seen) {
  const slot = seen.screen === "slot";
  const running = RUNNING.includes(seen.screen);
  show(el("edge"), running || seen.screen === "start");
  show(el("hands"), slot);
  if (!slot) show(el("offer"), false);
  const free = slot && !desk.takes.busy;
  for (const id of ["take-back", "move-on", "hold"]) show(el(id), free);
  show(el("end-now"), running && !desk.takes.busy);
  show(el("stage"), running);
  show(el("more"), free);
  show(el("more-tools"), !slot || (free && el("more").getAttribute("aria-expanded") === "true"));
  text(el("stage"), `Theme: ${LOOKS[document.documentElement.dataset.look ?? ""] ?? "light"}`);
  show(el("hear"), desk.soundOf(seen) !== "");
  text(el("hear"), desk.hear.playing ? "Stop sound" : "Play passage");
  drawComing(desk, seen);
  if (slot) {
    drawTake(desk, seen);
    drawTakeBack(desk, seen.run.slotId);
  }
  show(el("click-drawer"), free);
  if (slot) drawClick(desk, seen.place.slot.step_id);
  drawMicrophone(desk);
  drawLevel(desk);
}

el("more").addEventListener("click", () => {
  const more = el("more");
  const open = more.getAttribute("aria-expanded") !== "true";
  attr(more, "aria-expanded", String(open));
  text(more, open ? "Less" : "More");
  show(el("more-tools"), open);
});

/** A take that starts by itself is announced, and can be put off. */
function drawComing(/** @type {Desk} */ desk, /** @type {Scene} */ seen) {
  const restMs = desk.handsFree.chain(seen).atMs - timeNow();
  show(el("coming"), restMs <= SOON_MS);
  if (restMs <= SOON_MS) text(el("coming-words"), `Recording in ${Math.max(0, Math.ceil(restMs / 1000))} s`);
}

/** What the small line under the take button says. @param {Desk} desk @param {Scene} seen @param {boolean} records @param {StepInfo | null | undefined} step */
function takeWords(desk, seen, records, step) {
  if (!records) return step?.picture ? "not judged: a picture" : "not recorded";
  const { state, atMs } = desk.handsFree.chain(seen);
  if (state === "waits" && atMs - timeNow() > SOON_MS) return `starts at ${clockTime(atMs)}`;
  return state === "stopped" || state === "unheard" ? "recorded, press a key" : "recorded";
}

/** @param {Desk} desk @param {Extract<Scene, {screen: "slot"}>} seen */
function drawTake(desk, seen) {
  const { now } = desk.takes;
  const { slot } = seen.place;
  const step = desk.step(slot.step_id);
  const records = step?.heard === true && desk.sound.canRecord;
  const phase = now?.phase ?? "none";
  const kind = slot.kind === "cold" ? "cold take" : records ? "take" : "try";
  const again = records ? "Record again" : "Try again";
  const words = {
    none: `${records ? "Record" : "Start"} ${kind}`,
    count_in: "",
    playing: `End ${now?.recorded ? "take" : "try"}`,
    keeping: "Judging",
    judging: again,
    verdict: again,
    ask: again,
  }[phase];
  show(el("take"), phase !== "ask" && phase !== "count_in");
  show(el("cancel"), phase === "count_in");
  // While a take runs there is one thing to do.
  const { busy } = desk.takes;
  el("take").classList.toggle("alone", busy);
  for (const group of document.querySelectorAll(".answers")) show(group, !busy);
  text(el("yes-key"), phase === "ask" ? "Space" : "Y");
  text(el("no-key"), phase === "ask" ? "\u2190" : "N");
  text(el("take-word"), words);
  text(el("take-small"), phase === "none" ? takeWords(desk, seen, records, step) : "");
  const button = /** @type {HTMLButtonElement} */ (el("take"));
  button.disabled = phase === "keeping" || seen.coldDone;
}

function drawTakeBack(/** @type {Desk} */ desk, /** @type {string} */ slotId) {
  const last = desk.session ? slotTries(desk.session, slotId).at(-1) : undefined;
  const button = /** @type {HTMLButtonElement} */ (el("take-back"));
  button.disabled = last === undefined;
  const words = { yes: ": yes", no: ": no", cannot_tell: ": cannot tell" };
  text(el("take-back-what"), last ? words[last.answer] : "");
}

function drawClick(/** @type {Desk} */ desk, /** @type {string} */ stepId) {
  const click = desk.clickOf(desk.step(stepId), stepId);
  const units = new Map([[0.5, "♪"], [1, "♩"], [1.5, "♩."], [2, "half note"]]);
  const unit = units.get(click.unit) ?? `${click.unit} quarter notes`;
  text(el("click-sum"), click.on ? "Click" : "Click off");
  text(el("click-rate"), click.on ? `: ${unit} = ${click.bpm}` : "");
  /** @type {[string, string | boolean][]} */
  const fields = [
    ["click-on", click.on],
    ["click-through", click.through],
    ["click-bpm", String(click.bpm)],
    ["click-unit", String(click.unit)],
    ["click-bar", String(click.perBar)],
    ["click-bars", String(click.bars)],
    ["click-beats", click.beats.join(" ")],
    ["click-with", String(click.barsOn)],
    ["click-without", String(click.barsOff)],
    ["click-volume", String(Math.round(desk.volume * 100))],
  ];
  for (const [id, value] of fields) {
    const field = /** @type {HTMLInputElement} */ (el(id));
    if (field === document.activeElement) continue;
    if (typeof value === "boolean") field.checked = value;
    else if (field.value !== value) field.value = value;
  }
}

function drawMicrophone(/** @type {Desk} */ desk) {
  const { mic } = desk.sound;
  const recording = desk.takes.recording;
  const words = document.body.dataset.screen === "slot" ? MIC_SHORT : MIC_WORDS;
  text(el("mic-words"), recording ? "" : words[mic]);
  const again = ["denied", "absent", "lost", "processed"].includes(mic);
  show(el("mic-again"), again);
}

/** The level only while a take runs: nothing else is listened to. */
function drawLevel(/** @type {Desk} */ desk) {
  const { takes } = desk;
  show(el("level"), takes.recording);
  if (!takes.recording) return;
  const db = levelDb(takes.level);
  attr(el("level-fill"), "width", Math.round(100 * (1 - db / LEAST_LEVEL_DB)));
  text(el("level-word"), takes.clipping ? "Too loud. Move away" : "Recording");
}

/** One notice at a time, the most pressing first; a button goes on to the others. */
export function drawNotices(/** @type {string[]} */ words) {
  const node = el("notices");
  const at = Number(node.dataset.at ?? 0) % Math.max(1, words.length);
  const shape = [at, ...words].join("|");
  if (node.dataset.words === shape) return;
  node.dataset.words = shape;
  node.replaceChildren(...words.slice(at, at + 1).map((line) => html("p", line)));
  if (words.length < 2) return;
  const next = html("button", `Notice ${at + 1} of ${words.length}: show next`, "quiet");
  next.addEventListener("click", (event) => {
    event.stopPropagation();
    node.dataset.at = String(at + 1);
    drawNotices(words);
  });
  node.firstElementChild?.append(" ", next);
}

/**
 * The key table, as it stands in `keys.js`, and what the player's pedal has learnt.
 * @param {Map<string, string>} learnt action by key @param {string} teaching
 */
export function fillKeys(learnt, teaching) {
  const rows = KEYS.map((line) => {
    const row = html("tr");
    const known = [...learnt].find(([, action]) => action === line.action)?.[0];
    const words = teaching === line.action ? "Press the switch now" : known ? keyName(known) : "Assign";
    const button = html("button", words, "quiet");
    button.dataset.teach = line.action;
    button.append(html("span", `: ${line.words}`, "aside"));
    const pedal = html("td");
    pedal.append(button);
    row.append(html("td", line.words), html("td", line.shown), pedal);
    return row;
  });
  el("keys").querySelector("tbody")?.replaceChildren(...rows);
}

const keyName = (/** @type {string} */ key) => (key === " " ? "Space" : key);
