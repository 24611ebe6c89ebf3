// @ts-check
// Notation on a page, drawn by the server for the width there is, with a way to point at its bars:
// over every bar lies a button, so that touch, mouse and keyboard do the same.

/** @import {Bar} from "./model.js" */
import { BarChoice } from "./bar-choice.js";

const WIDEST_PX = 1100;
const NARROWEST_PX = 280;
const REDRAW_SHARE = 0.12; // the width must change by this before it is drawn again

export class Sheet {
  /** @param {HTMLElement} place @param {string} address of the SVG, without its width */
  constructor(place, address) {
    this.place = place;
    this.address = address;
    this.drawnPx = 0;
    /** @type {BarChoice | null} */
    this.choice = null;
    this.over = document.createElement("div");
    this.over.className = "bars-over";
    this.over.setAttribute("role", "group");
    this.over.setAttribute("aria-label", "Bars: choose the first, then the last");
    /** @type {Map<string, HTMLButtonElement>} */
    this.buttons = new Map();
    this.onDraw = () => {};
    this.onChoose = (/** @type {BarChoice} */ _choice) => {};
    this.over.addEventListener("click", (event) => this.pointed(event));
    this.over.addEventListener("keydown", (event) => this.key(event));
    new ResizeObserver(() => void this.fit()).observe(place);
  }

  width() {
    const own = getComputedStyle(this.place);
    const room = this.place.clientWidth - parseFloat(own.paddingLeft) - parseFloat(own.paddingRight);
    return Math.round(Math.max(NARROWEST_PX, Math.min(WIDEST_PX, room)));
  }

  async fit() {
    if (!this.place.clientWidth) return; // folded away, or the page's middle was replaced
    if (!this.drawnPx || Math.abs(this.width() / this.drawnPx - 1) < REDRAW_SHARE) return this.lay();
    await this.draw().catch(() => undefined); // what is drawn stays
  }

  /** Fetch and show it. Throws when the server does not answer. */
  async draw() {
    const width = this.width();
    this.drawnPx = width;
    const joint = this.address.includes("?") ? "&" : "?";
    const response = await fetch(`${this.address}${joint}width=${width}`);
    if (!response.ok) throw new Error("no notation");
    const parsed = new DOMParser().parseFromString(await response.text(), "image/svg+xml");
    const svg = document.importNode(parsed.documentElement, true);
    this.place.replaceChildren(svg, this.over);
    this.lay();
    this.onDraw();
  }

  /** @param {Bar[]} bars @param {number} offset bars of the passage before the first here */
  choosable(bars, offset = 0) {
    this.choice = new BarChoice(bars, offset);
    this.lay();
  }

  /** A button over every bar, where its staves are. */
  lay() {
    const choice = this.choice;
    if (!choice) return;
    const held = document.activeElement?.getAttribute("data-measure");
    this.buttons.clear();
    const place = this.place.getBoundingClientRect();
    for (const measure of this.place.querySelectorAll("g.measure")) {
      const plays = choice.played(measure.id);
      const box = staves(measure);
      if (!plays.length || !box) continue;
      const button = document.createElement("button");
      button.type = "button";
      button.dataset.measure = measure.id;
      button.className = "bar-over";
      button.style.left = `${box.left - place.left + this.place.scrollLeft - this.place.clientLeft}px`;
      button.style.top = `${box.top - place.top + this.place.scrollTop - this.place.clientTop}px`;
      button.style.width = `${box.right - box.left}px`;
      button.style.height = `${box.bottom - box.top}px`;
      const label = choice.bars[plays[0]].label;
      const twice = plays.length > 1 ? `, played ${plays.length} times` : "";
      button.setAttribute("aria-label", `${label === "0" ? "Pick-up bar" : `Bar ${label}`}${twice}`);
      this.buttons.set(measure.id, button);
    }
    this.over.replaceChildren(...this.buttons.values());
    this.mark();
    if (held) this.buttons.get(held)?.focus();
  }

  mark() {
    const choice = this.choice;
    if (!choice) return;
    let reachable = false;
    for (const [measure, button] of this.buttons) {
      const chosen = choice.holds(measure);
      button.setAttribute("aria-pressed", String(chosen));
      button.tabIndex = chosen && !reachable ? 0 : -1;
      reachable ||= chosen;
    }
    const [one] = this.buttons.values();
    if (!reachable && one) one.tabIndex = 0;
  }

  /** @param {Event} event */
  pointed(event) {
    const button = /** @type {Element} */ (event.target).closest("button");
    if (!button || !this.choice) return;
    this.choice.point(button.dataset.measure ?? "");
    this.told(button);
  }

  /** @param {HTMLElement} [button] the hand stays on it */
  told(button) {
    if (!this.choice) return;
    this.mark();
    if (button) {
      for (const other of this.buttons.values()) other.tabIndex = other === button ? 0 : -1;
    }
    this.onChoose(this.choice);
  }

  /** Arrows go from bar to bar, Escape gives all bars back.
   * @param {KeyboardEvent} event */
  key(event) {
    const all = [...this.buttons.values()];
    const at = all.findIndex((button) => button === document.activeElement);
    const to = { ArrowRight: at + 1, ArrowLeft: at - 1, Home: 0, End: all.length - 1 }[event.key];
    if (event.key === "Escape" && this.choice?.range) {
      this.choice.set(null);
      this.told();
    } else if (to === undefined) return;
    else all[Math.max(0, Math.min(all.length - 1, to))]?.focus();
    event.preventDefault();
    event.stopPropagation();
  }
}

/** @param {Element} measure @returns {{left: number, top: number, right: number, bottom: number} | null} */
function staves(measure) {
  const paths = [...measure.querySelectorAll(":scope > .staff > path")];
  const lines = (paths.length ? paths : [measure]).map((line) => line.getBoundingClientRect());
  if (!lines[0]?.width) return null;
  const top = Math.min(...lines.map((r) => r.top));
  const bottom = Math.max(...lines.map((r) => r.bottom));
  const air = Math.max(8, (bottom - top) * 0.45);
  return {
    left: Math.min(...lines.map((r) => r.left)),
    right: Math.max(...lines.map((r) => r.right)),
    top: top - air,
    bottom: bottom + air,
  };
}
