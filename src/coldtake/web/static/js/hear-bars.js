// @ts-check
// Bars chosen by pointing at the notation, written into the form's fields for bars as played.

/** @import {Bar} from "../sound/model.js" */
import { Sheet } from "../sound/sheet.js";

const WINDOW = 48; // bars drawn at once

class BarsField {
  constructor(/** @type {HTMLElement} */ root) {
    this.root = root;
    this.count = Number(root.dataset.count);
    const form = root.closest("form");
    this.first = /** @type {HTMLInputElement} */ (form?.querySelector("[name=first_bar]"));
    this.last = /** @type {HTMLInputElement} */ (form?.querySelector("[name=last_bar]"));
    this.from = Math.floor((Number(this.first.value || 1) - 1) / WINDOW) * WINDOW;
    this.sheet = new Sheet(this.part("sheet"), "");
    this.sheet.onChoose = () => this.chosen();
    for (const field of [this.first, this.last]) field.addEventListener("change", () => this.typed());
    for (const turn of this.part("turn").querySelectorAll("button")) {
      turn.addEventListener("click", () => void this.turn(Number(turn.dataset.by)));
    }
  }

  /** @param {string} name @returns {HTMLElement} */
  part(name) {
    return /** @type {HTMLElement} */ (this.root.querySelector(`[data-${name}]`));
  }

  async open() {
    const response = await fetch(`${this.root.dataset.bars}.json?only=bars`);
    if (!response.ok) return; // the fields do without
    const { bars } = /** @type {{bars: Bar[]}} */ (await response.json());
    this.part("sheet").hidden = false;
    this.part("how").hidden = false;
    this.part("turn").hidden = this.count <= WINDOW;
    this.sheet.choosable(bars);
    this.typed();
    await this.draw();
  }

  draw() {
    const to = Math.min(this.count, this.from + WINDOW);
    const some = this.count > WINDOW ? `?first=${this.from + 1}&last=${to}` : "";
    this.sheet.address = `${this.root.dataset.bars}.svg${some}`;
    for (const turn of this.part("turn").querySelectorAll("button")) {
      turn.disabled = Number(turn.dataset.by) < 0 ? this.from === 0 : to === this.count;
    }
    return this.sheet.draw().catch(() => undefined);
  }

  turn(/** @type {number} */ by) {
    this.from = Math.max(0, Math.min(this.count - 1, this.from + by * WINDOW));
    return this.draw();
  }

  /** What the fields say, shown on the page. */
  typed() {
    const [first, last] = [Number(this.first.value || 1), Number(this.last.value || this.count)];
    const some = this.first.value || this.last.value;
    const fits = 1 <= first && first <= last && last <= this.count;
    this.sheet.choice?.set(some && fits ? { first: first - 1, last: last - 1 } : null);
    this.sheet.mark();
    this.said();
  }

  chosen() {
    const range = this.sheet.choice?.range;
    this.first.value = range ? String(range.first + 1) : "";
    this.last.value = range ? String(range.last + 1) : "";
    this.said();
  }

  said() {
    const choice = this.sheet.choice;
    if (!choice) return;
    const more = choice.half ? ". Now select the last bar." : "";
    this.part("said").textContent = choice.words() + more;
    const readings = choice.half ? [] : choice.readings();
    const buttons = readings.map((range) => {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = choice.words(range);
      const same = choice.range?.first === range.first && choice.range.last === range.last;
      button.setAttribute("aria-pressed", String(same));
      button.addEventListener("click", () => {
        choice.set(range);
        this.sheet.told();
      });
      return button;
    });
    this.part("readings").replaceChildren(...(buttons.length > 1 ? buttons : []));
  }
}

/** The notation comes when its part of the page is unfolded, not before. */
function wire() {
  for (const root of document.querySelectorAll("[data-bars]:not([data-wired])")) {
    const place = /** @type {HTMLElement} */ (root);
    place.dataset.wired = "yes";
    const field = new BarsField(place);
    const fold = place.closest("details");
    if (!fold || fold.open) void field.open();
    else fold.addEventListener("toggle", () => void field.open(), { once: true });
  }
}

document.addEventListener("htmx:afterSettle", wire);
wire();
