// @ts-check
// What sounds when, in beats of the loop: notes, band and clicks of the chosen bars. Pure; the
// player's audio thread and the cursor on the page both lay out the same score in the same way.

/** @import {Bar, BandNote, How, Layout, Lit, Score, SoundEvent, TuneNote} from "./model.js" */

const NEAR = 1e-6;

/** @param {Bar} bar @returns {number} quarters of a full bar of its metre */
export const fullBar = (bar) => (4 * bar.metre[0]) / bar.metre[1];

/** Only the eighth between two quarters moves: triplets and sixteenths stay. */
export function swung(/** @type {number} */ beat, /** @type {number} */ swing) {
  const whole = Math.floor(beat + NEAR);
  return Math.abs(beat - whole - 0.5) < 1e-3 ? whole + swing : beat;
}

/** @param {Score} score @param {number} swing @returns {(beat: number) => number} */
function warp(score, swing) {
  if (Math.abs(swing - 0.5) < NEAR) return (beat) => beat;
  return (beat) => {
    const bar = score.bars.findLast((b) => b.onset <= beat + NEAR);
    if (!bar || bar.metre[1] !== 4) return beat;
    // A pick-up is counted from its end, so that its off-beat stays an off-beat.
    const zero = bar.onset + bar.beats - Math.max(fullBar(bar), bar.beats);
    return zero + swung(beat - zero, swing);
  };
}

/** @param {Score} score @param {How} how @returns {Layout} */
export function layOut(score, how) {
  const bars = score.bars.slice(how.first, how.last + 1);
  const [head, tail] = [bars[0], bars[bars.length - 1]];
  const start = head.onset;
  const length = tail.onset + tail.beats - start;
  const place = warp(score, how.swing);
  /** @param {{onset: number, beats: number}} note */
  const span = ({ onset, beats }) => {
    const from = place(onset) - start;
    return { from, to: Math.min(place(onset + beats) - start, length) };
  };
  /** @template {{onset: number}} T @param {T[]} notes @returns {T[]} */
  const inside = (notes) =>
    notes.filter((n) => n.onset > start - NEAR && n.onset < start + length - NEAR);
  const tune = inside(score.notes);
  const lit = tune.map((n) => ({ id: n.id, heads: n.heads, ...span(n) }));
  const events = [
    ...tune.map((n) => noteEvent("tune", n, span(n), 1, n.id)),
    ...inside(score.band).map((n) => noteEvent(n.part, n, span(n), n.level, "")),
    ...bars.flatMap((bar, i) => clicksOf(bar, i, start, how.unit)),
  ].sort((a, b) => a.beat - b.beat);
  const { lead, counts } = countIn(head, how);
  const places = bars.map(({ measure, onset, beats }) => ({
    ...{ measure, from: onset - start, to: onset - start + beats },
  }));
  return { length, lead, start, bars: bars.length, events, counts, lit, places };
}

/**
 * @param {"tune" | "bass" | "chords"} part @param {{pitch: number}} note
 * @param {{from: number, to: number}} span @param {number} level @param {string} id
 * @returns {SoundEvent}
 */
function noteEvent(part, note, span, level, id) {
  const beats = Math.max(span.to - span.from, 0.02);
  return { kind: "note", beat: span.from, beats, pitch: note.pitch, part, level, id, bar: 0, place: 0 };
}

/** @param {number} beat @param {number} bar @param {number} place @returns {SoundEvent} */
const click = (beat, bar, place) => ({
  ...{ kind: "click", beat, beats: 0, pitch: 0, part: "click", level: 1, id: "", bar, place },
});

/** @param {Bar} bar @param {number} index @param {number} start @param {number} unit */
function clicksOf(bar, index, start, unit) {
  // A short bar at the front is a pick-up: its beats are the last ones of a full bar.
  const missing = index === 0 ? Math.max(0, fullBar(bar) - bar.beats) : 0;
  const found = [];
  for (let k = Math.ceil(missing / unit - NEAR); k * unit - missing < bar.beats - NEAR; k++) {
    found.push(click(bar.onset - start + k * unit - missing, index, k));
  }
  return found;
}

/** Whole bars, less a pick-up, so that the first full bar falls on a first beat. */
function countIn(/** @type {Bar} */ bar, /** @type {How} */ how) {
  const full = fullBar(bar);
  const missing = Math.max(0, full - bar.beats);
  const lead = how.countBars ? how.countBars * full - (missing ? bar.beats : 0) : 0;
  const counts = [];
  const perBar = Math.round(full / how.unit);
  for (let k = 0; k * how.unit < lead - NEAR; k++) {
    counts.push(click(k * how.unit - lead, -1, k % perBar));
  }
  return { lead, counts };
}

/**
 * Whether a click is heard: the count-in always, else as chosen; bars are counted on through all
 * times, so that silence may fall anywhere.
 * @param {SoundEvent} event @param {How} how @param {number} pass @param {number} bars in the loop
 */
export function clickSounds(event, how, pass, bars) {
  if (event.bar < 0) return true;
  const { beats, every, sound, silent } = how.click;
  const bar = pass * bars + event.bar;
  if (beats[event.place] === false || bar % Math.max(1, every) !== 0) return false;
  return silent < 1 || bar % (sound + silent) < sound;
}

/**
 * Tempo of one time through, in quarters a minute: up one metronome mark after every `ramp.every`.
 * @param {How} how @param {number} pass @param {number[]} marks
 */
export function tempoOf(how, pass, marks) {
  if (how.ramp.every < 1) return how.bpm;
  let beat = how.bpm / how.unit;
  const goal = Math.max(beat, how.ramp.to);
  for (let ups = Math.floor(pass / how.ramp.every); ups > 0 && beat < goal; ups--) {
    beat = Math.min(marks.find((mark) => mark > beat + NEAR) ?? goal, goal);
  }
  return beat * how.unit;
}
