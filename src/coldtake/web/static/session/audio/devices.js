// @ts-check
// Several devices in one session: the server says which one leads, and what is new in it. Without
// an answer everything stays as it was: who leads goes on leading, who follows waits for a touch.

const FOLLOW_MS = 2_000;
const LEAD_MS = 4_000;
const PATIENCE_MS = 3_000;

/** @typedef {{leads: boolean, by: string, quiet_s: number, events: import("../model.js").Event[], seen: number}} Reply */

export class Devices {
  /**
   * @param {string} device its id, kept by this browser
   * @param {() => string} sessionId "" while there is none
   * @param {(reply: Reply) => void} onReply
   */
  constructor(device, sessionId, onReply) {
    this.device = device;
    this.sessionId = sessionId;
    this.onReply = onReply;
    this.leads = true; // until somebody says otherwise
    this.by = "";
    this.quietS = 0;
    this.seen = 0;
    this.askedMs = -Infinity;
    this.asking = false;
    this.askedOf = "";
  }

  /**
   * Called at every tick; asks when it is time, and at once when a session has just been begun
   * here: otherwise a device opened in those seconds would be the first to claim it.
   * @param {number} now
   */
  tick(now) {
    if (this.sessionId() !== this.askedOf) this.askedMs = -Infinity;
    const wait = this.leads && this.sessionId() !== "" ? LEAD_MS : FOLLOW_MS;
    if (!this.asking && now - this.askedMs >= wait) void this.ask(now);
  }

  /** @param {number} now @param {boolean} take the player wants the lead here */
  async ask(now, take = false) {
    this.asking = true;
    this.askedMs = now;
    const session_id = this.sessionId();
    this.askedOf = session_id;
    const claims = this.leads && session_id !== "";
    const { device, seen } = this;
    const body = JSON.stringify({ device, session_id, name: deviceName(), claims, take, seen });
    try {
      const signal = AbortSignal.timeout(PATIENCE_MS);
      const headers = { "Content-Type": "application/json" };
      const response = await fetch("/api/session/lead", { method: "POST", body, headers, signal });
      const reply = response.ok ? await response.json() : null;
      // Of a session that began or ended meanwhile the answer says nothing: the next tick asks again.
      if (reply && this.sessionId() === session_id) this.hear(reply, take);
    } catch {
      // nobody answers: it stays as it is
    }
    this.asking = false;
  }

  /** @param {Reply} reply @param {boolean} took */
  hear(reply, took) {
    this.seen = reply.seen;
    this.by = reply.by;
    this.quietS = reply.quiet_s;
    this.leads = reply.leads || took;
    this.onReply(reply);
  }

  /** The player's touch: at once, whether the server answers or not. */
  take(/** @type {number} */ now) {
    this.leads = true;
    void this.ask(now, true);
  }
}

/** What a person would call this device. */
export function deviceName(agent = navigator.userAgent) {
  if (/iPad|Tablet|Android(?!.*Mobile)/.test(agent)) return "a tablet";
  return /Mobi/.test(agent) ? "a phone" : "a computer";
}
