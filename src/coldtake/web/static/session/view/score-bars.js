// @ts-check
// Where in the music a beat lies: the bars of a passage in the order in which they are played.

/** @typedef {{measure: string, onset: number, beats: number}} BarPlayed beats in quarters */

export class ScoreBars {
  constructor() {
    /** @type {Map<string, BarPlayed[]>} */
    this.bars = new Map();
    /** @type {Set<string>} */
    this.asked = new Set();
  }

  /** Asks for the bars of a notation once; without a server the page is turned by hand. */
  async load(/** @type {string} */ notation) {
    if (this.asked.has(notation)) return;
    this.asked.add(notation);
    try {
      const response = await fetch(`${notation.replace(".svg", ".json")}${notation.includes("?") ? "&" : "?"}only=bars`);
      if (response.ok) this.bars.set(notation, (await response.json()).bars);
    } catch {
      this.asked.delete(notation);
    }
  }

  /**
   * @param {string} notation @param {number} beat in quarters from the start of the music
   * @returns {string | null} the measure that is played then
   */
  measureAt(notation, beat) {
    const bars = this.bars.get(notation) ?? [];
    const bar = bars.findLast((one) => one.onset <= beat + 1e-6);
    return bar && beat < bar.onset + bar.beats ? bar.measure : null;
  }
}
