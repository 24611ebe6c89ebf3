// @ts-check
// When the clicks of a take come, in frames of the audio clock: click k at
// f0 + round(k * samplesPerBeat), never a sum of rounded steps, so that no error grows.

/**
 * @typedef {object} ClickPlan
 * @property {number} f0 frame of the first click
 * @property {number} samplesPerBeat > 0, fractions allowed
 * @property {number} count clicks in all; Infinity until stopped
 * @property {number} perBar clicks in a bar, for the accent; 0 for none
 * @property {number} accentOffset index of the first accented click, 0 <= accentOffset < perBar
 * @property {number} volume 0..1
 * @property {Pattern} [pattern] which clicks sound; all when not given
 */
/**
 * @typedef {object} Pattern
 * @property {number} from first click that may be silent: a count-in sounds whole
 * @property {number} firstBar click on which the first full bar begins
 * @property {number[]} beats of a bar that sound, counted from 1; empty for all
 * @property {number} barsOn
 * @property {number} barsOff
 */

/** Frames of one beat: `bpm` counts quarters, `unitBeats` is the beat unit in quarters. */
export function samplesPerBeat(
  /** @type {number} */ rate,
  /** @type {number} */ bpm,
  /** @type {number} */ unitBeats,
) {
  return (rate * 60 * unitBeats) / bpm;
}

/** @param {ClickPlan} plan @param {number} k @returns {number} frame of click k */
export const clickFrame = (plan, k) => plan.f0 + Math.round(k * plan.samplesPerBeat);

/** @param {ClickPlan} plan @param {number} k */
export const isAccent = (plan, k) =>
  plan.perBar > 0 && (k - plan.accentOffset + plan.perBar) % plan.perBar === 0;

/** @param {ClickPlan} plan @param {number} k */
export function isSounding({ pattern, perBar }, k) {
  if (!pattern || perBar === 0 || k < pattern.from) return true;
  const since = k - pattern.firstBar;
  const beat = (((since % perBar) + perBar) % perBar) + 1;
  if (pattern.beats.length > 0 && !pattern.beats.includes(beat)) return false;
  const bar = Math.floor(since / perBar);
  return bar < 0 || bar % (pattern.barsOn + pattern.barsOff) < pattern.barsOn;
}

/**
 * Clicks whose first frame lies in [from, from + length).
 * @param {ClickPlan} plan @param {number} from @param {number} length
 * @returns {{frame: number, accent: boolean}[]}
 */
export function clicksWithin(plan, from, length) {
  const found = [];
  let k = Math.max(0, Math.floor((from - plan.f0) / plan.samplesPerBeat) - 1);
  for (; k < plan.count && clickFrame(plan, k) < from + length; k++) {
    if (clickFrame(plan, k) >= from && isSounding(plan, k)) {
      found.push({ frame: clickFrame(plan, k), accent: isAccent(plan, k) });
    }
  }
  return found;
}

/**
 * The count-in before a passage: whole bars, less a pick-up, so that the first full bar falls on
 * an accent. Without a count-in and a pick-up the music starts with click 0.
 * @param {{beat_unit_beats: number, beats_per_bar: number, count_in_bars: number}} click
 * @param {number} pickupBeats quarters before the first full bar
 * @returns {{clicks: number, accentOffset: number, leadClicks: number, firstBar: number}} clicks
 *   before the music that sound; the first accented one; clicks (fractions allowed) from click 0 to
 *   the music; click on which the first full bar begins
 */
export function countIn(click, pickupBeats) {
  const pickup = pickupBeats / click.beat_unit_beats;
  const bars = click.count_in_bars * click.beats_per_bar;
  const lead = pickup > 0 && bars > 0 ? bars - (pickup % click.beats_per_bar) : bars;
  const firstBar = Math.round(lead + pickup);
  return {
    clicks: Math.ceil(lead),
    accentOffset: click.beats_per_bar ? firstBar % click.beats_per_bar : 0,
    leadClicks: lead,
    firstBar,
  };
}
