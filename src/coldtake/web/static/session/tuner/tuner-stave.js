// @ts-check
// What the tuner hears, as a note on a stave: the middle line is the note in tune, each line and
// space 10 cents. The last seconds follow the notehead like a slur, so that one sees a tone sink.

/** @import {Figure} from "./median-filter.js" */
import { attr, svg } from "../view/dom.js";

const HEIGHT = 300;
const SPACE = 32; // of 10 cents
const MOST = 45; // cents; further off lies at the edge
const SHOWN_MS = 7000;
const GAP_MS = 250; // a longer silence breaks the slur
const NEAR_CENTS = 3;
const HEAD_FROM_RIGHT = 90;

export class TunerStave {
  /** @param {SVGElement} node */
  constructor(node) {
    this.node = node;
    /** @type {{atMs: number, cents: number, pitch: number}[]} */
    this.past = [];
    this.width = 0;
    this.ground = svg("g", {});
    this.trail = svg("path", { class: "slur", fill: "none" });
    this.ledgers = svg("g", { class: "ledgers" });
    this.head = svg("ellipse", { rx: 25, ry: 17.5, class: "note away" });
    node.replaceChildren(this.ground, this.trail, this.ledgers, this.head);
    requestAnimationFrame(() => this.measure()); // an empty stave until something is heard
  }

  /** The page's width decides how much of the past there is room for. */
  measure() {
    const { clientWidth, clientHeight } = this.node;
    const width = clientHeight ? Math.round((HEIGHT * clientWidth) / clientHeight) : 900;
    if (width === this.width) return;
    this.width = width;
    attr(this.node, "viewBox", `0 0 ${width} ${HEIGHT}`);
    this.ground.replaceChildren(...rules(width));
  }

  /** @param {Figure | null} figure @param {number} now */
  draw(figure, now) {
    this.measure();
    this.past = this.past.filter((one) => one.atMs > now - SHOWN_MS);
    if (figure && figure.atMs > (this.past.at(-1)?.atMs ?? 0)) {
      this.past.push({ atMs: figure.atMs, cents: figure.cents, pitch: figure.pitch });
    }
    attr(this.trail, "d", this.path(now));
    this.head.classList.toggle("away", figure === null);
    this.ledgers.replaceChildren();
    if (!figure) return;
    const x = this.width - HEAD_FROM_RIGHT;
    const y = heightOf(figure.cents);
    attr(this.head, "transform", `translate(${x} ${y.toFixed(1)}) rotate(-22)`);
    const full = figure.steady && Math.abs(figure.cents) <= NEAR_CENTS;
    this.head.classList.toggle("full", full);
    for (const at of ledgersFor(figure.cents)) {
      this.ledgers.append(svg("line", { x1: x - 42, x2: x + 42, y1: at, y2: at }));
    }
  }

  path(/** @type {number} */ now) {
    const right = this.width - HEAD_FROM_RIGHT;
    let last = { atMs: -Infinity, pitch: -1 };
    const parts = this.past.map((one) => {
      const x = right * (1 - (now - one.atMs) / SHOWN_MS);
      const breaks = one.atMs - last.atMs > GAP_MS || one.pitch !== last.pitch;
      last = one;
      return `${breaks ? "M" : "L"}${x.toFixed(1)} ${heightOf(one.cents).toFixed(1)}`;
    });
    return parts.join("");
  }
}

/** @param {number} cents */
const heightOf = (cents) =>
  HEIGHT / 2 - (Math.max(-MOST, Math.min(MOST, cents)) / 10) * SPACE;

/** Lines above or below the stave that a note there needs. */
function ledgersFor(/** @type {number} */ cents) {
  const count = Math.floor((Math.min(MOST, Math.abs(cents)) + 2) / 10) - 2;
  const side = Math.sign(cents);
  return Array.from({ length: Math.max(0, count) }, (_, i) => heightOf(side * (30 + 10 * i)));
}

function rules(/** @type {number} */ width) {
  return [-20, -10, 0, 10, 20].map((cents) => {
    const y = heightOf(cents);
    return svg("line", { x1: 0, x2: width, y1: y, y2: y, class: cents ? "rule" : "rule aim" });
  });
}
