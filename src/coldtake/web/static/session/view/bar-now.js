// @ts-check
// The running slot as one great bar: the time left stands in it as its time signature, minutes
// over seconds; what has been played is inked, the warm mark is now, the barline is the end.
// A glance tells how much is left without reading a digit.

/** @import {TryMade} from "../model.js" */
import { attr, sign, svg } from "./dom.js";
import { left, two } from "../flow/dates.js";

const ABOVE = 0.72; // spaces of room over and under the stave
const PLAYED_W = 3;
const DIGIT_EM = 1.42; // font size in spaces for digits two spaces high

/**
 * @typedef {object} BarNow
 * @property {number} startedMs
 * @property {number} endsMs
 * @property {number} wholeMs when the bar ends that is drawn (a cold slot may end before)
 * @property {"slot" | "break" | "quiet"} kind
 * @property {TryMade[]} tries
 * @property {number | null} comingMs when a take starts by itself
 * @property {boolean} final nothing comes after
 * @property {string} name
 */

export class GreatBar {
  constructor(/** @type {SVGElement} */ root) {
    this.root = root;
    this.shape = "";
    this.space = 0;
    this.from = 0;
    this.to = 0;
    this.digits = [svg("text", {}), svg("text", {})];
    this.ink = svg("g", { class: "ink" });
    this.mark = svg("g", { class: "now-mark" });
    this.coming = svg("g", { class: "coming-mark" });
  }

  /** @param {BarNow} bar @param {number} now */
  draw(bar, now) {
    const width = this.root.clientWidth;
    const height = this.root.clientHeight;
    const answers = bar.tries.map((t) => `${t.id}${t.answer}`).join();
    const shape = [width, height, bar.kind, bar.startedMs, bar.wholeMs, bar.final, answers].join();
    if (shape !== this.shape && width > 0) this.lay(bar, width, height);
    this.shape = shape;
    const { minutes, seconds } = left(bar.endsMs, now);
    if (this.digits[0].textContent !== String(minutes)) this.digits[0].textContent = String(minutes);
    if (this.digits[1].textContent !== two(seconds)) this.digits[1].textContent = two(seconds);
    const x = this.x(bar, now);
    for (const line of this.ink.children) attr(line, "x2", x.toFixed(1));
    attr(this.mark, "transform", `translate(${x.toFixed(1)} 0)`);
    attr(this.coming, "visibility", bar.comingMs === null ? "hidden" : "visible");
    if (bar.comingMs !== null) attr(this.coming, "transform", `translate(${this.x(bar, bar.comingMs).toFixed(1)} 0)`);
    attr(this.root, "aria-label", bar.name);
  }

  /** @param {BarNow} bar @param {number} ms */
  x(bar, ms) {
    const share = (ms - bar.startedMs) / Math.max(1, bar.wholeMs - bar.startedMs);
    return this.from + (this.to - this.from) * Math.min(1, Math.max(0, share));
  }

  /** @param {BarNow} bar @param {number} width @param {number} height */
  lay(bar, width, height) {
    const s = height / (4 + 2 * ABOVE);
    const top = s * ABOVE;
    const y = (/** @type {number} */ line) => top + s * line;
    const digitsW = bar.kind === "quiet" ? s : s * 4.3;
    this.space = s;
    this.from = digitsW + s * 0.5;
    this.to = width - (bar.final ? s * 0.5 : s * 0.9);
    attr(this.root, "viewBox", `0 0 ${width} ${height}`);
    const lines = [0, 1, 2, 3, 4];
    const rules = lines.map((i) => svg("line", { class: "rule", x1: 0, x2: width, y1: y(i), y2: y(i) }));
    this.ink.replaceChildren(
      ...lines.map((i) =>
        svg("line", { x1: this.from, x2: this.from, y1: y(i), y2: y(i), "stroke-width": PLAYED_W }),
      ),
    );
    this.digits.forEach((digit, i) => {
      attr(digit, "class", "signature");
      attr(digit, "x", digitsW / 2);
      attr(digit, "y", y(2 * i + 2) - s * 0.02);
      attr(digit, "font-size", s * 2 * DIGIT_EM);
      attr(digit, "visibility", bar.kind === "quiet" ? "hidden" : "visible");
    });
    this.mark.replaceChildren(
      svg("line", { x1: 0, x2: 0, y1: top - s * 0.55, y2: y(4) + s * 0.55, "stroke-width": s * 0.12 }),
      svg("ellipse", { rx: s * 0.62, ry: s * 0.44, cy: y(2), transform: `rotate(-22 0 ${y(2)})` }),
    );
    // A down-bow over the stave: here a take begins by itself.
    const [bow, high] = [s * 0.34, top - s * 0.12];
    this.coming.replaceChildren(
      svg("path", { d: `M${-bow} ${high}V${high - s * 0.5}H${bow}V${high}`, "stroke-width": s * 0.14 }),
    );
    const parts = [...rules, ...this.minutes(bar, y, s), ...this.frame(bar, y, s, width)];
    this.root.replaceChildren(...parts, this.ink, ...this.notes(bar, y, s), this.coming, this.mark, ...this.digits);
  }

  /** Barlines; a break is drawn as a rest of many bars, a quiet moment under a fermata. */
  frame(
    /** @type {BarNow} */ bar,
    /** @type {(line: number) => number} */ y,
    /** @type {number} */ s,
    /** @type {number} */ width,
  ) {
    const line = (/** @type {number} */ x, /** @type {number} */ w) =>
      svg("line", { class: "barline", x1: x, x2: x, y1: y(0), y2: y(4), "stroke-width": w });
    const parts = [line(this.from - s * 0.3, 2), line(this.to, 2)];
    if (bar.final) parts.push(line(this.to + s * 0.36, s * 0.28));
    if (bar.kind === "break") {
      const [a, b] = [this.from + s * 0.6, this.to - s * 0.6];
      parts.push(
        svg("line", { class: "pause", x1: a, x2: b, y1: y(2), y2: y(2), "stroke-width": s * 0.7 }),
        svg("line", { class: "pause", x1: a, x2: a, y1: y(1), y2: y(3), "stroke-width": s * 0.12 }),
        svg("line", { class: "pause", x1: b, x2: b, y1: y(1), y2: y(3), "stroke-width": s * 0.12 }),
      );
    }
    if (bar.kind === "quiet") {
      const [x, r] = [(this.from + this.to) / 2, s * 1.1];
      const d = `M${x - r} ${y(3)}A${r} ${r} 0 0 1 ${x + r} ${y(3)}A${r} ${r * 0.82} 0 0 0 ${x - r} ${y(3)}Z`;
      parts.push(
        svg("path", { class: "fermata", d }),
        svg("circle", { class: "fermata", cx: x, cy: y(3) - s * 0.22, r: s * 0.2 }),
      );
    }
    return width > 0 ? parts : [];
  }

  /** Whole minutes left, counted back from the end, as strokes at the top line. */
  minutes(
    /** @type {BarNow} */ bar,
    /** @type {(line: number) => number} */ y,
    /** @type {number} */ s,
  ) {
    const marks = [];
    for (let at = bar.wholeMs - 60_000; at > bar.startedMs; at -= 60_000) {
      const x = this.x(bar, at);
      marks.push(svg("line", { class: "minute", x1: x, x2: x, y1: y(4), y2: y(4) + s * 0.45 }));
    }
    return bar.kind === "quiet" ? [] : marks;
  }

  /** Answers: yes stands high, no low, cannot tell is a rest. */
  notes(
    /** @type {BarNow} */ bar,
    /** @type {(line: number) => number} */ y,
    /** @type {number} */ s,
  ) {
    const height = { yes: y(0.5), no: y(3.5), cannot_tell: y(2) };
    return bar.tries.map((one) =>
      sign(one.answer, this.x(bar, one.atMs), height[one.answer], s * 1.3),
    );
  }
}
