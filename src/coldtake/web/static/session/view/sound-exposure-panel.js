// @ts-check
// The drawer for ears and body: the level, the day's dose where it can be known, and what to do when
// something hurts, said once.

/** @import {SoundExposure} from "../audio/sound-exposure.js" */
import { html, show, text } from "./dom.js";
import { averageDb } from "../audio/hearing-dose.js";

const HOW = "Put a sound level meter (slow, A) beside the microphone. Hold one note and enter what the meter shows.";
const SOURCE =
  "After NIOSH 98-126 (1998): 85 dB(A) for 8 hours is 100%. Each 3 dB more halves the time. A microphone is not a sound level meter, so this is only a guide. Follow your doctor and the rules where you live.";
const BODY =
  "If anything hurts, stop for today. Very much playing, or suddenly more than usual, can cause injuries (Chan and Ackermann, Frontiers in Psychology 5:706, 2014). Ask a doctor or your teacher. Their advice comes before any plan here.";

export class SoundExposurePanel {
  /** @param {HTMLElement} root @param {SoundExposure} ears */
  constructor(root, ears) {
    this.ears = ears;
    this.now = html("p", "", "large");
    this.dose = html("p", "", "large");
    this.told = html("p", "", "soft");
    this.field = /** @type {HTMLInputElement} */ (html("input"));
    Object.assign(this.field, { type: "number", min: "50", max: "120", step: "0.5" });
    const label = html("label");
    label.append(html("span", "Meter shows (dB(A))", "name"), this.field);
    this.set = html("button", "Calibrate");
    this.set.setAttribute("type", "button");
    this.set.addEventListener("click", () => void this.calibrate());
    this.forget = html("button", "Delete calibration", "quiet");
    this.forget.setAttribute("type", "button");
    this.forget.addEventListener("click", () => void ears.forget().then(() => this.draw()));
    const row = html("div", "", "row");
    row.append(label, this.set, this.forget);
    root.replaceChildren(this.now, this.dose, this.told, row, html("p", SOURCE, "small"), html("p", BODY, "small"));
  }

  async calibrate() {
    const wrong = await this.ears.calibrate(Number(this.field.value));
    text(this.told, wrong || "Calibrated for this microphone in this place.");
    this.draw();
  }

  draw() {
    const { levelDb, lately, kept } = this.ears;
    const last = lately.at(-1);
    const calibrated = this.ears.offset !== null;
    show(this.dose, calibrated);
    show(this.forget, calibrated);
    if (last === undefined) return text(this.now, "No microphone is on. Nothing is measured.");
    if (levelDb === null) {
      text(this.now, `${Math.round(-last)} dB below the microphone’s maximum`);
      if (!this.told.textContent) text(this.told, HOW);
      return;
    }
    text(this.now, `${Math.round(levelDb)} dB(A) now`);
    text(this.dose, doseWords(kept.percent));
  }
}

/** @param {number} percent */
export function doseWords(percent) {
  if (percent < 1) return "Today’s sound dose: less than 1%";
  return `Today’s sound dose: ${Math.round(percent)}%, the same as ${Math.round(averageDb(percent))} dB(A) for 8 hours`;
}

export const FULL_WORDS =
  "Today’s sound dose is at the limit that NIOSH 98-126 recommends. Rest your ears or use ear protection for the rest of the day.";
