// @ts-check
// Which bars are meant when two bars of a page are pointed at. Bars count as played; a bar under a
// repeat is played twice, so a page's bar can mean either time: all readings are offered.

/** @import {Bar} from "./model.js" */

/**
 * @typedef {object} Range bars as played, counted from 0, both included
 * @property {number} first
 * @property {number} last
 */

const TIMES = ["first", "second", "third", "fourth", "fifth", "sixth"];
const MOST_READINGS = 6;

export class BarChoice {
  /** @param {Bar[]} bars as played @param {number} offset bars of the passage before the first */
  constructor(bars, offset = 0) {
    this.bars = bars;
    this.offset = offset;
    /** @type {Range | null} */
    this.range = null;
    this.half = false; // the first bar is chosen, the last is not
  }

  /** @param {string} measure @returns {number[]} when that bar of the page is played */
  played(measure) {
    return this.bars.flatMap((bar, i) => (bar.measure === measure ? [i] : []));
  }

  /** The first touch is the first bar, the second the last; the third begins again. */
  point(/** @type {string} */ measure) {
    const plays = this.played(measure);
    if (!plays.length) return;
    if (!this.range || !this.half) {
      this.range = { first: plays[0], last: plays[0] };
      this.half = true;
      return;
    }
    const from = this.range.first;
    const later = plays.find((i) => i >= from);
    this.range =
      later === undefined ? { first: plays[plays.length - 1], last: from } : { first: from, last: later };
    this.half = false;
  }

  /** @param {Range | null} range */
  set(range) {
    this.range = range;
    this.half = false;
  }

  /** @param {string} measure @returns {boolean} whether any playing of it is chosen */
  holds(measure) {
    const range = this.range;
    return range !== null && this.played(measure).some((i) => range.first <= i && i <= range.last);
  }

  /** Every range that the two bars of the page could mean, in the order of playing.
   * @returns {Range[]} */
  readings() {
    if (!this.range) return [];
    const { first, last } = this.range;
    const ends = this.played(this.bars[last].measure);
    return this.played(this.bars[first].measure)
      .flatMap((from) => ends.filter((to) => to >= from).map((to) => ({ first: from, last: to })))
      .slice(0, MOST_READINGS);
  }

  /** Such as "Bars 5 to 8", "Bar 5, second time", "Bars 5 to 8 with the repeat". */
  words(range = this.range) {
    if (!range) return this.offset ? "All bars of this page" : "All bars";
    return this.name(range) + this.which(range);
  }

  /** @param {Range} range */
  name({ first, last }) {
    const [a, b] = [this.label(first), this.label(last)];
    if (a === "0") return first === last ? "Pick-up" : `Pick-up to bar ${b}`;
    return first === last ? `Bar ${a}` : `Bars ${a} to ${b}`;
  }

  /** As printed; where nothing is printed, as played. */
  label(/** @type {number} */ index) {
    return this.bars[index].label || String(this.offset + index + 1);
  }

  /** @param {Range} range */
  which({ first, last }) {
    const inside = this.bars.slice(first, last + 1).map((bar) => bar.measure);
    if (new Set(inside).size < inside.length) return ` with the repeat, ${inside.length} bars as played`;
    const plays = this.played(inside[0]);
    if (plays.length < 2) return "";
    return `, ${TIMES[plays.indexOf(first)] ?? `${plays.indexOf(first) + 1}th`} time`;
  }
}
