// @ts-check
/**
 * Records a run-through, if wished. Every second of sound is in the browser's own store before the
 * next one is played, and goes to the server when the answers are given; what a closed page or a
 * server that was away has left over goes out when the run's page is opened again.
 *
 * <div id="recorder" data-run="…" data-day="…" hidden><button id="record"> <span id="recording">
 */

/** @import {IDBPDatabase} from "../vendor/idb/index.js" */
import { openDB } from "../vendor/idb/index.js";
import { idMaker } from "../session/keeping/ids.js";

const EVERY_MS = 1000;
const BITS_A_SECOND = 128_000;
const KINDS = ["audio/webm;codecs=opus", "audio/mp4", "audio/ogg;codecs=opus"];
// Whatever a browser does to speech would change what was played.
const AS_PLAYED = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };

/** @typedef {{runId: string, takeId: string, at: string, count: number, part: Blob}} Part */

const newId = idMaker(Date.now, (bytes) => crypto.getRandomValues(bytes));

/** @returns {Promise<IDBPDatabase>} */
const opened = () =>
  openDB("coldtake-runs", 1, {
    upgrade(fresh) {
      fresh.createObjectStore("parts", { keyPath: ["runId", "takeId", "count"] });
    },
  });

/** @param {string} words */
function say(words) {
  const place = document.getElementById("recording");
  if (place) place.textContent = words;
}

/**
 * Send what was recorded of a run and forget it once the server has it.
 * @param {string} runId
 * @param {string} day
 * @returns {Promise<boolean>} whether anything was sent
 */
async function send(runId, day) {
  const db = await opened();
  const all = /** @type {Part[]} */ (await db.getAll("parts", IDBKeyRange.bound([runId], [runId, []])));
  const takes = [...new Set(all.map((one) => one.takeId))];
  for (const takeId of takes) {
    const parts = all.filter((one) => one.takeId === takeId);
    const about = new URLSearchParams({ step_id: runId, at: parts[0].at, day, judge: "no" });
    const sound = new Blob(parts.map((one) => one.part));
    const answer = await fetch(`/api/takes/${takeId}?${about}`, { method: "PUT", body: sound });
    if (!answer.ok) throw new Error(`the server answered ${answer.status}`);
    await db.delete("parts", IDBKeyRange.bound([runId, takeId], [runId, takeId, []]));
  }
  return takes.length > 0;
}

/** One recording, from the button to the end of the run. */
class Recording {
  /**
   * @param {string} runId
   * @param {MediaStream} stream
   */
  constructor(runId, stream) {
    this.stream = stream;
    const mimeType = KINDS.find((kind) => MediaRecorder.isTypeSupported(kind));
    this.recorder = new MediaRecorder(stream, { mimeType, audioBitsPerSecond: BITS_A_SECOND });
    const about = { runId, takeId: newId(), at: new Date().toISOString() };
    let count = 0;
    /** @type {Promise<void>} */
    this.kept = Promise.resolve();
    this.recorder.addEventListener("dataavailable", ({ data }) => {
      if (data.size === 0) return;
      const part = { ...about, count: count++, part: data };
      this.kept = this.kept.then(async () => {
        await (await opened()).put("parts", part);
      });
    });
    this.recorder.start(EVERY_MS);
  }

  /** Stop, and wait until the last of it is in the store. */
  async stop() {
    const stopped = new Promise((done) => this.recorder.addEventListener("stop", done, { once: true }));
    this.recorder.stop();
    await stopped;
    for (const track of this.stream.getTracks()) track.stop();
    await this.kept;
  }
}

/** @param {HTMLElement} desk */
function offer(desk) {
  const button = /** @type {HTMLButtonElement} */ (document.getElementById("record"));
  const over = /** @type {HTMLAnchorElement} */ (document.getElementById("over"));
  /** @type {Recording | null} */
  let recording = null;
  button.addEventListener("click", async () => {
    try {
      const stream = await navigator.mediaDevices.getUserMedia({ audio: AS_PLAYED });
      recording = new Recording(desk.dataset.run ?? "", stream);
    } catch {
      return say("No microphone. Allow it for this address, or play without recording.");
    }
    button.hidden = true;
    desk.dataset.on = "";
    say("Recording until you press Finish.");
    over.focus();
  });
  over.addEventListener("click", async (event) => {
    if (recording === null) return;
    event.preventDefault();
    await recording.stop().catch(() => undefined); // what is in the store is kept
    location.assign(over.href);
  });
}

const desk = document.getElementById("recorder");
if (desk !== null) {
  const canRecord = "MediaRecorder" in window && Boolean(navigator.mediaDevices);
  if (document.getElementById("record") !== null) {
    desk.hidden = !canRecord;
    if (canRecord) offer(desk);
  } else {
    try {
      if (await send(desk.dataset.run ?? "", desk.dataset.day ?? "")) location.reload();
    } catch (fault) {
      desk.hidden = false;
      const why = fault instanceof Error ? fault.message : "";
      say(`The recording is saved in this browser. It is sent when you open this page again. (${why})`);
    }
  }
}

export {};
