// @ts-check
// The passage on the stand: engraved for this window, large enough to be read from the chair, and
// turned by halves: the half that was played is exchanged for what follows the other one.

import { html } from "./dom.js";

const STAVE_PX = 28.8; // height of a stave in an engraving that is shown as wide as it was made
const STEP_PX = 20; // widths are whole steps, so that the same engraving serves again
const WIDTHS = /** @type {const} */ ([240, 1600]);
const ZOOMS = /** @type {const} */ ([0.6, 2]);
const ZOOM_STEP = 1.15;
const SIDE_PX = 24; // about what the page's edge and the paper's margin take
const LEAST_LARGER = 1.15; // an engraving that would be little larger stays
const MOST_LARGER = 1.5;
const ZOOM_KEPT = "stand-zoom";

export const isChart = (/** @type {string} */ url) => /[?&]as=chart(&|$)/.test(url);

/** How high a stave should be here, in CSS pixels: 1 cm is 38 of them; a phone lies nearer. */
export const staveHeight = (/** @type {number} */ windowPx) =>
  windowPx < 640 ? 30 : Math.min(56, Math.max(38, 0.03 * windowPx));

/** The width to engrave for, so that staves come out as high as they should be. */
export function engravedWidth(/** @type {number} */ windowPx, /** @type {number} */ zoom) {
  const wide = ((windowPx - 2 * SIDE_PX) * STAVE_PX) / (staveHeight(windowPx) * zoom);
  return Math.min(WIDTHS[1], Math.max(WIDTHS[0], STEP_PX * Math.round(wide / STEP_PX)));
}

/** Notation for this screen. A chart keeps four bars in a row: all of it is in sight. */
export function sized(/** @type {string} */ url) {
  const width = isChart(url) ? 520 : engravedWidth(window.innerWidth, zoomHere());
  return `${url}${url.includes("?") ? "&" : "?"}width=${width}`;
}

/** The notation with the marks of a take's verdict. */
export const markedNotation = (/** @type {string} */ takeId) =>
  `/takes/${takeId}/notation.svg?width=${engravedWidth(window.innerWidth, zoomHere())}`;

/** This device's zoom, 1 where none was chosen. */
export function zoomHere() {
  try {
    return Number(localStorage.getItem(ZOOM_KEPT)) || 1;
  } catch {
    return 1;
  }
}

/** Make the music larger (1) or smaller (-1), and keep it for this device. */
export function zoom(/** @type {number} */ direction) {
  const next = Math.min(ZOOMS[1], Math.max(ZOOMS[0], zoomHere() * ZOOM_STEP ** direction));
  try {
    localStorage.setItem(ZOOM_KEPT, next.toFixed(3));
  } catch {
    // this browser keeps nothing: the music stays as it is
  }
}

/**
 * Shares systems out into what is seen together: everything where it fits, else two parts of the
 * window, each no higher than what its neighbours leave, else one system after the other.
 * @param {number[]} heights of the systems, in the window's pixels @param {number} room
 * @returns {{groups: number[][], halves: 1 | 2}} numbers of the systems in each group
 */
export function shareOut(heights, room) {
  const all = heights.map((_, i) => i);
  const high = (/** @type {number[]} */ group) => group.reduce((sum, i) => sum + heights[i], 0);
  if (high(all) <= room) return { groups: [all], halves: 1 };
  const two = Math.max(...heights.slice(1).map((h, i) => h + heights[i])) <= room;
  if (!two) return { groups: all.map((i) => [i]), halves: 1 };
  const most = all.filter((i) => high(all.slice(0, i + 1)) <= room).length;
  /** @type {number[][]} */
  const groups = [];
  for (const i of all) {
    const now = groups.at(-1);
    const before = groups.at(-2) ?? [];
    const size = groups.length % 2 === 1 ? Math.ceil(most / 2) : Math.floor(most / 2);
    const fits = now && now.length < size && high([...before, ...now, i]) <= room;
    if (fits) now.push(i);
    else groups.push([i]);
  }
  return { groups, halves: 2 };
}

/**
 * The groups that are seen, the upper first: the one that is played and the next, which lies above
 * it when the played one is the lower half. At the end the group before stays.
 * @param {number} now @param {number} count @param {1 | 2} halves
 */
export function seenGroups(now, count, halves) {
  if (halves === 1 || count === 1) return [now];
  const other = now + 1 < count ? now + 1 : now - 1;
  return now % 2 === 0 ? [now, other] : [other, now];
}

/** An engraving from the server or from what this page keeps; null where there is none. */
async function engraving(/** @type {string} */ url) {
  try {
    const response = await fetch(url);
    if (!response.ok) return null;
    const read = new DOMParser().parseFromString(await response.text(), "image/svg+xml");
    return read.documentElement instanceof SVGSVGElement ? read.documentElement : null;
  } catch {
    return null; // the server does not answer, and this width was not kept
  }
}

export class MusicPage {
  /** @param {HTMLElement} figure */
  constructor(figure) {
    this.figure = figure;
    this.url = "";
    this.music = "";
    this.words = "";
    this.enlarged = "";
    this.group = 0;
    /** @type {SVGSVGElement | null} */
    this.whole = null;
    /** @type {number[]} lower edges of the systems, in units of the engraving */
    this.edges = [];
    /** @type {number[][]} */
    this.groups = [];
    /** @type {1 | 2} */
    this.halves = 1;
    this.room = "";
    /** @type {Map<string, number>} system by measure */
    this.systemOf = new Map();
    this.faultAt = -1;
    new ResizeObserver(() => this.lay()).observe(figure);
  }

  /** How many groups there are to turn to. */
  get pages() {
    return this.groups.length;
  }

  /**
   * @param {string} url of the engraving, "" for none @param {string} words what it is
   * @param {string} music what is played: what is seen of it stays until another engraving is there
   */
  show(url, words, music) {
    if (this.url === url) return;
    this.url = url;
    this.enlarged = "";
    this.figure.hidden = url === "";
    this.figure.classList.toggle("is-chart", isChart(url));
    void this.load(url, words, music);
  }

  /** @param {string} url @param {string} words @param {string} music */
  async load(url, words, music) {
    const drawn = url === "" ? null : await engraving(url);
    if (this.url !== url) return; // another one was asked for meanwhile
    if (drawn || this.music !== music) this.put(drawn, words, music);
  }

  /** @param {SVGSVGElement | null} drawn @param {string} words @param {string} music */
  put(drawn, words, music) {
    if (this.music !== music) this.group = 0;
    this.music = music;
    this.words = words;
    this.whole = drawn;
    drawn?.setAttribute("aria-label", words);
    this.measure();
    this.room = "";
    this.lay();
    if (this.faultAt >= 0) this.turnTo(this.groupWith(this.faultAt));
  }

  /** Finds the systems: each reaches to half way between it and the next. */
  measure() {
    this.edges = [];
    this.systemOf.clear();
    this.faultAt = -1;
    if (!this.whole) return;
    const { width, height } = this.whole.viewBox.baseVal;
    const aside = html("div", "", "measured");
    aside.style.width = `${width}px`;
    const copy = /** @type {SVGSVGElement} */ (document.importNode(this.whole, true));
    aside.append(copy);
    document.body.append(aside);
    const top = copy.getBoundingClientRect().top;
    const systems = [...copy.querySelectorAll("g.system")];
    const boxes = systems.map((one) => one.getBoundingClientRect());
    const fault = this.whole.dataset.fault;
    systems.forEach((one, i) => {
      for (const bar of one.querySelectorAll("g.measure")) this.systemOf.set(bar.id, i);
      if (fault && one.querySelector(`[id="${CSS.escape(fault)}"]`)) this.faultAt = i;
    });
    aside.remove();
    this.edges = boxes.map((box, i) =>
      i + 1 < boxes.length ? (box.bottom + boxes[i + 1].top) / 2 - top : height,
    );
    if (this.edges.length === 0) this.edges = [height];
  }

  /** Lays the systems out for the room there is. */
  lay() {
    const [width, room] = [this.figure.clientWidth, this.figure.clientHeight];
    const shape = [width, room, this.url].join();
    if (shape === this.room || width === 0) return;
    this.room = shape;
    if (!this.whole) return this.figure.replaceChildren();
    const style = getComputedStyle(this.figure);
    const inner = width - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight);
    const high = room - parseFloat(style.paddingTop) - parseFloat(style.paddingBottom);
    const scale = inner / this.whole.viewBox.baseVal.width;
    const heights = this.edges.map((_, i) => this.height(i) * scale);
    const played = this.groups[this.group]?.[0] ?? 0;
    const shared = isChart(this.url) ? { groups: [heights.map((_, i) => i)], halves: /** @type {1} */ (1) } : shareOut(heights, high);
    this.groups = shared.groups;
    this.halves = shared.halves;
    this.group = this.groupWith(played);
    this.draw();
    if (this.groups.length === 1) void this.enlarge(heights.reduce((sum, h) => sum + h, 0), high);
  }

  /** Music that leaves much of its room empty is engraved once more, larger. */
  async enlarge(/** @type {number} */ used, /** @type {number} */ room) {
    const width = Number(/[?&]width=(\d+)/.exec(this.url)?.[1] ?? 0);
    const larger = Math.min(MOST_LARGER, Math.sqrt(room / Math.max(used, 1)));
    if (isChart(this.url) || this.enlarged === this.music || larger < LEAST_LARGER) return;
    this.enlarged = this.music;
    const next = Math.max(WIDTHS[0], STEP_PX * Math.round(width / larger / STEP_PX));
    if (next >= width) return;
    const [before, url] = [this.whole, this.url];
    const wider = await engraving(url.replace(/([?&]width=)\d+/, `$1${next}`));
    if (!wider || this.url !== url) return;
    this.put(wider, this.words, this.music);
    if (this.groups.length > 1) this.put(before, this.words, this.music); // it was all in sight
  }

  groupWith(/** @type {number} */ system) {
    return Math.max(0, this.groups.findIndex((group) => group.includes(system)));
  }

  draw() {
    const seen = seenGroups(this.group, this.groups.length, this.halves);
    this.figure.dataset.halves = String(seen.length);
    const parts = seen.map((group) => this.part(group));
    // the upper part is as high as the highest that comes there, and so is the lower: nothing moves
    if (parts.length === 2) parts.forEach((part, at) => (part.style.flex = `${this.highest(at)} 1 0`));
    this.figure.replaceChildren(...parts);
    if (this.groups.length <= 1) return;
    const words = `Part ${this.group + 1} of ${this.groups.length}`;
    this.figure.append(html("figcaption", words, "turned"));
  }

  /** Height of the highest group that is shown above (0) or below (1). */
  highest(/** @type {number} */ at) {
    const high = this.groups.map((group) => group.reduce((sum, i) => sum + this.height(i), 0));
    return Math.max(1, ...high.filter((_, i) => i % 2 === at));
  }

  /** Height of a system in units of the engraving. */
  height(/** @type {number} */ system) {
    return this.edges[system] - (this.edges[system - 1] ?? 0);
  }

  /** One group of systems, cut out of the whole engraving. */
  part(/** @type {number} */ group) {
    const whole = /** @type {SVGSVGElement} */ (this.whole);
    const copy = /** @type {SVGSVGElement} */ (document.importNode(whole, true));
    const systems = this.groups[group];
    const from = this.edges[systems[0] - 1] ?? 0;
    const to = this.edges[systems[systems.length - 1]];
    const { width } = whole.viewBox.baseVal;
    copy.setAttribute("viewBox", `0 ${from} ${width} ${to - from}`);
    copy.setAttribute("preserveAspectRatio", "xMinYMin meet");
    copy.setAttribute("overflow", systems.length === this.edges.length ? "visible" : "hidden");
    copy.removeAttribute("width");
    copy.removeAttribute("height");
    const half = html("div", "", group === this.group ? "half is-now" : "half");
    half.append(copy);
    return half;
  }

  /**
   * Touches: the right or lower half turns on, the left upper one back; two fingers make the music
   * larger or smaller.
   * @param {(direction: 1 | -1) => void} resized
   */
  touched(resized) {
    /** @type {Map<number, PointerEvent>} */
    const down = new Map();
    let apart = 0;
    const distance = () => {
      const [a, b] = [...down.values()];
      return Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY);
    };
    this.figure.addEventListener("pointerdown", (event) => {
      down.set(event.pointerId, event);
      if (down.size === 2) apart = distance();
    });
    this.figure.addEventListener("pointermove", (event) => {
      if (!down.has(event.pointerId)) return;
      down.set(event.pointerId, event);
      if (down.size !== 2) return;
      const ratio = distance() / Math.max(apart, 1);
      if (ratio < ZOOM_STEP && ratio > 1 / ZOOM_STEP) return;
      resized(ratio > 1 ? 1 : -1);
      apart = distance();
    });
    const up = (/** @type {PointerEvent} */ event) => {
      const first = down.get(event.pointerId);
      down.delete(event.pointerId);
      if (apart > 0) {
        if (down.size === 0) apart = 0;
        return;
      }
      if (!first || event.type !== "pointerup") return;
      const box = this.figure.getBoundingClientRect();
      const [x, y] = [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height];
      this.turn(x > 0.5 || y > 0.5 ? 1 : -1);
    };
    for (const name of /** @type {const} */ (["pointerup", "pointercancel", "pointerleave"])) {
      this.figure.addEventListener(name, up);
    }
  }

  turnTo(/** @type {number} */ group) {
    const next = Math.min(this.groups.length - 1, Math.max(0, group));
    if (next === this.group || this.groups.length === 0) return;
    this.group = next;
    this.draw();
  }

  turn(/** @type {1 | -1} */ direction) {
    this.turnTo(this.group + direction);
  }

  /** The player is in this measure: its group is there, and the next lies ready. */
  follow(/** @type {string} */ measure) {
    const system = this.systemOf.get(measure);
    if (system !== undefined) this.turnTo(this.groupWith(system));
  }
}
