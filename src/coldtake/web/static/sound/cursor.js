// @ts-check
// The notes that sound now, lit on the page: by class on their noteheads, and a line through the
// stave, so that it is not told by colour alone.

/** @import {Layout} from "./model.js" */

export class Cursor {
  /** @param {HTMLElement} sheet holds the notation; the line is drawn over it */
  constructor(sheet) {
    this.sheet = sheet;
    /** @type {Map<string, Element>} */
    this.heads = new Map();
    /** @type {string} */
    this.shown = "";
    /** @type {Element[]} */
    this.lit = [];
    /** @type {Element | null} */
    this.bar = null;
    this.line = document.createElement("i");
    this.line.className = "sound-line";
    this.line.hidden = true;
    this.index();
  }

  /** Call again when the notation has been drawn anew. */
  index() {
    this.clear();
    this.heads.clear();
    for (const head of this.sheet.querySelectorAll("[data-note]")) {
      this.heads.set(head.getAttribute("data-note") ?? "", head);
    }
    this.sheet.append(this.line);
  }

  /** @param {Layout} layout @param {number} beat of the loop */
  show(layout, beat) {
    this.showBar(layout, beat);
    const notes = layout.lit.filter((n) => n.from <= beat && beat < n.to);
    const key = notes.map((n) => n.id).join(" ");
    if (key === this.shown) return;
    this.shown = key;
    for (const head of this.lit) head.classList.remove("sounds");
    this.lit = notes.flatMap((n) => n.heads.map((id) => this.heads.get(id)).filter((h) => h !== undefined));
    for (const head of this.lit) head.classList.add("sounds");
    if (this.lit.length) this.move(this.lit[0]);
  }

  /** The bar that is played, for pages without noteheads too. @param {Layout} layout @param {number} beat */
  showBar(layout, beat) {
    const place = layout.places.find((p) => p.from <= beat && beat < p.to);
    const bar = place ? this.sheet.querySelector(`[id="${CSS.escape(place.measure)}"]`) : null;
    if (bar === this.bar) return;
    this.bar?.classList.remove("sounds-bar");
    this.bar = bar;
    bar?.classList.add("sounds-bar");
  }

  /** The line through the stave of a notehead. */
  move(/** @type {Element} */ head) {
    const stave = head.closest(".measure") ?? head;
    const place = this.sheet.getBoundingClientRect();
    const x = head.getBoundingClientRect();
    const y = stave.getBoundingClientRect();
    this.line.hidden = false;
    this.line.style.transform = `translate(${x.left + x.width / 2 - place.left + this.sheet.scrollLeft}px, ${y.top - place.top + this.sheet.scrollTop}px)`;
    this.line.style.height = `${y.height}px`;
  }

  clear() {
    for (const head of this.lit) head.classList.remove("sounds");
    this.lit = [];
    this.bar?.classList.remove("sounds-bar");
    this.bar = null;
    this.shown = "";
    this.line.hidden = true;
  }
}

const FRAME_MS = 1000 / 60;

/**
 * How far ahead the cursor is read: what a frame draws is seen when the next one begins, and notes
 * begin anywhere between two frames; one and a half frames put the error around zero.
 * @param {number} frameMs from one frame to the next
 */
export const leadMs = (frameMs) => 1.5 * Math.max(4, Math.min(FRAME_MS, frameMs));

/**
 * Runs the cursor along while a player plays.
 * @param {import("./player.js").Player} player @param {Cursor} cursor
 * @param {(place: {beat: number, segment: import("./model.js").Segment} | null) => void} told
 */
export function follow(player, cursor, told = () => {}) {
  let before = 0;
  let frameMs = FRAME_MS;
  const step = (/** @type {number} */ at) => {
    if (!player.playing) {
      cursor.clear();
      told(null);
      return;
    }
    if (before && at - before < 2 * FRAME_MS) frameMs += (at - before - frameMs) / 8;
    before = at;
    const ahead = (leadMs(frameMs) / 1000) * (player.context?.sampleRate ?? 0);
    const place = player.placeAt(player.heardFrame(at) + ahead);
    if (place) {
      if (place.segment.kind === "play") cursor.show(place.layout, place.beat);
      told(place);
    }
    requestAnimationFrame(step);
  };
  requestAnimationFrame(step);
}
