// @ts-check
// The day as one thin line of music, over the whole session: bars are slots as wide as their
// minutes, breaks are rests, played bars are inked, answers stand as notes. Same look and classes
// as the house's stave (`templates/stave.html`).

/** @import {Session, Place, SlotRun} from "../model.js" */
import { placesOf, slotTries } from "../flow/reducer.js";
import { sign, svg } from "./dom.js";

const GAP = 10;
const TOP = 34;
const LINES = [0, 1, 2, 3, 4].map((i) => TOP + GAP * i);
const BOTTOM = LINES[4];
const INSET = 0.5;

/** @typedef {{kind: "slot", place: Place, width: number} | {kind: "break", after: number, width: number}} Item */

/** @param {Place[]} places @param {number} breakMin @returns {Item[]} */
function itemsOf(places, breakMin) {
  /** @type {Item[]} */
  const items = [];
  let period = places[0]?.period ?? 0;
  for (const place of places) {
    if (place.period !== period) items.push({ kind: "break", after: period, width: breakMin });
    period = place.period;
    items.push({ kind: "slot", place, width: place.slot.minutes });
  }
  return items;
}

/**
 * @param {import("../model.js").Plan} plan
 * @param {Session | null} session
 * @param {string} name read to somebody who does not see it
 * @returns {SVGElement}
 */
export function dayLine(plan, session, name) {
  const places = session?.places ?? placesOf(plan);
  const items = itemsOf(places, plan.rules.break_min);
  const whole = items.reduce((sum, item) => sum + item.width, 0) || 1;
  const topics = [...new Set(places.map((p) => p.slot.topic_id))];
  const drawn = svg("svg", { class: "stave", width: "100%", height: BOTTOM + 8, role: "img" });
  drawn.setAttribute("aria-label", name);
  for (const y of LINES) drawn.append(svg("line", { class: "rule", x1: 0, x2: "100%", y1: y, y2: y }));
  drawn.append(barline(0));
  let at = 0;
  for (const item of items) {
    const from = (100 * at) / whole;
    at += item.width;
    const to = (100 * at) / whole;
    if (item.kind === "break") drawn.append(rest(from, to, session, item.after), barline(to));
    else {
      const y = LINES[3 - (topics.indexOf(item.place.slot.topic_id) % 4)] + GAP / 2;
      drawn.append(slotBar(item.place, from, to, y, session));
    }
  }
  drawn.append(svg("line", { class: "barline final", x1: "100%", x2: "100%", y1: TOP, y2: BOTTOM }));
  return drawn;
}

const barline = (/** @type {number} */ x) =>
  svg("line", { class: "barline", x1: `${x}%`, x2: `${x}%`, y1: TOP, y2: BOTTOM });

/** @param {number} from @param {number} to @param {Session | null} session @param {number} after */
function rest(from, to, session, after) {
  const run = session?.breaks.find((b) => b.afterPeriod === after);
  const state = run ? (run.endedMs === null ? "now" : "done") : "coming";
  const [x1, x2, y] = [`${from + INSET}%`, `${to - INSET}%`, (TOP + BOTTOM) / 2];
  return svg(
    "g",
    { class: `bar break ${state}` },
    svg("line", { class: "pause", x1, x2, y1: y, y2: y }),
    svg("line", { class: "pause-end", x1, x2: x1, y1: y - 8, y2: y + 8 }),
    svg("line", { class: "pause-end", x1: x2, x2, y1: y - 8, y2: y + 8 }),
  );
}

/**
 * @param {Place} place @param {number} from @param {number} to
 * @param {number} y @param {Session | null} session
 */
function slotBar(place, from, to, y, session) {
  const run = session?.runs.findLast((r) => r.slotId === place.slot.id);
  const state = run ? (run.endedMs === null ? "now" : "done") : "coming";
  const inset = Math.min(INSET, (to - from) / 4);
  const middle = `${(from + to) / 2}%`;
  const stroke = (/** @type {number} */ end) =>
    svg("line", { class: "stroke", x1: `${from + inset}%`, x2: `${end}%`, y1: y, y2: y });
  const cold = place.slot.kind === "cold";
  const group = svg(
    "g",
    { class: "bar coming" },
    stroke(to - inset),
    barline(to),
  );
  if (cold) group.append(svg("circle", { class: "cold", cx: middle, cy: TOP - 8, r: 4.5 }));
  // What was played is inked as far as it was played.
  const share = run && state === "done" ? Math.min(1, playedS(session, place) / (place.slot.minutes * 60)) : 1;
  if (run) group.append(svg("g", { class: state }, stroke(from + inset + (to - from - 2 * inset) * share)));
  if (session && run) group.append(...notes(session, run, from, to, y));
  return group;
}

/** @param {Session | null} session @param {Place} place */
const playedS = (session, place) =>
  (session?.runs ?? []).reduce((sum, r) => sum + (r.slotId === place.slot.id ? r.playedS : 0), 0);

/** Answers stand where they fell in their slot. */
function notes(
  /** @type {Session} */ session,
  /** @type {SlotRun} */ run,
  /** @type {number} */ from,
  /** @type {number} */ to,
  /** @type {number} */ y,
) {
  const endMs = run.endedMs ?? run.startedMs + run.plannedS * 1000;
  return slotTries(session, run.slotId).map((one) => {
    const share = (one.atMs - run.startedMs) / Math.max(1, endMs - run.startedMs);
    const x = from + (to - from) * Math.min(0.94, Math.max(0.06, share));
    return sign(one.answer, `${x}%`, y);
  });
}
