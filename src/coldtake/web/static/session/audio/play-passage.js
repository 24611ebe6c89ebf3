// @ts-check
// A passage as it sounds at its tempo, or a take, played once; asked again, it stops. Never during
// a take.

export class PassagePlayer {
  constructor(/** @type {() => void} */ changed) {
    this.changed = changed;
    this.audio = new Audio();
    this.address = "";
    this.wanted = "";
    this.audio.onended = () => this.stop();
  }

  get playing() {
    return this.wanted !== "";
  }

  /** Plays, or stops what plays. Returns what to tell the player when it cannot. */
  async toggle(/** @type {string} */ address, /** @type {number} */ fromS = 0) {
    if (this.playing) return this.stop();
    this.wanted = address;
    this.changed();
    try {
      await this.load(address);
      if (this.wanted !== address) return; // stopped while it came
      this.audio.currentTime = fromS;
      await this.audio.play();
    } catch {
      if (this.wanted !== address) return;
      this.stop();
      return "It cannot be played: Coldtake does not answer, or this browser has no sound.";
    }
  }

  /** The whole sound at once: it plays on when the server is gone. */
  async load(/** @type {string} */ address) {
    if (this.address === address) return;
    const response = await fetch(address);
    if (!response.ok) throw new Error("no sound");
    const old = this.audio.src;
    this.audio.src = URL.createObjectURL(await response.blob());
    this.address = address;
    if (old) URL.revokeObjectURL(old);
  }

  stop() {
    if (!this.playing) return;
    this.wanted = "";
    this.audio.pause();
    this.changed();
  }
}
