// @ts-check
// Two tabs in one session do not fight: one holds the lock and leads, the others follow what it
// writes and can take over.

export class Tabs {
  /** @param {(leading: boolean) => void} onLead @param {(news: any) => void} onNews */
  constructor(onLead, onNews) {
    this.onLead = onLead;
    this.channel = new BroadcastChannel("coldtake-session");
    this.channel.onmessage = ({ data }) => onNews(data);
  }

  /** Leads as soon as nobody else does; at once with `steal`. */
  lead(steal = false) {
    const hold = () => {
      this.onLead(true);
      return new Promise(() => undefined); // until the tab goes, or another takes over
    };
    if (!navigator.locks) return void hold();
    navigator.locks
      .request("coldtake-session", { steal }, hold)
      .catch(() => this.onLead(false))
      .then(() => this.lead());
  }

  /** Tells the other tabs to read again; `news` is a verdict that only this one was told. */
  tell(/** @type {unknown} */ news = null) {
    this.channel.postMessage(news);
  }
}

/** Keeps the screen on while the page is seen. */
export class Awake {
  /** @param {(refused: boolean) => void} onChange */
  constructor(onChange) {
    this.onChange = onChange;
    this.wanted = false;
    /** @type {WakeLockSentinel | null} */
    this.held = null;
    document.addEventListener("visibilitychange", () => void this.hold());
  }

  async want(/** @type {boolean} */ wanted) {
    if (this.wanted === wanted) return;
    this.wanted = wanted;
    if (!wanted) {
      await this.held?.release().catch(() => undefined);
      this.onChange(false);
    } else await this.hold();
  }

  async hold() {
    if (!this.wanted || document.visibilityState !== "visible") return;
    if (this.held && !this.held.released) return;
    try {
      this.held = await navigator.wakeLock.request("screen");
      this.onChange(false);
    } catch {
      this.onChange(true);
    }
  }
}
