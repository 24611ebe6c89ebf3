// @ts-check
// Slower, and over and over: the controls beside a recording on a take's page and on its own page.

/** @import {Loop} from "../sound/slow.js" */
import { mono, Slow } from "../sound/slow.js";

const FAULT = "This part could not be slowed down: Coldtake does not answer, or the file has no sound.";
const DRAGGED_PX = 8; // less is a touch, which only sets the place
const SLICES = 600;

class SlowDesk {
  constructor(/** @type {HTMLElement} */ root) {
    this.root = root;
    const audio = document.getElementById("sound");
    if (!(audio instanceof HTMLAudioElement)) throw new Error("no recording on this page");
    this.audio = audio;
    this.slow = new Slow(audio);
    this.slow.onChange = () => this.shown();
    /** @type {number | null} */
    this.mark = null; // the first point, while the second is still missing
    this.button("play").addEventListener("click", () => this.doing(this.slow.toggle()));
    this.button("from").addEventListener("click", () => this.fromHere());
    this.button("to").addEventListener("click", () => this.toHere());
    this.button("none").addEventListener("click", () => this.setLoop(null));
    this.speed.addEventListener("input", () => this.sped());
    this.wave()?.addEventListener("pointerdown", (event) => this.dragged(event));
    audio.addEventListener("loadedmetadata", () => this.shown());
    document.addEventListener("keydown", (event) => this.key(event));
    this.sped();
    this.follow();
  }

  /** @param {string} name @returns {HTMLButtonElement} */
  button(name) {
    return /** @type {HTMLButtonElement} */ (this.root.querySelector(`[data-slow=${name}]`));
  }

  get speed() {
    return /** @type {HTMLInputElement} */ (this.root.querySelector("[data-slow=speed]"));
  }

  wave() {
    return document.getElementById("wave");
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    const on = /** @type {Element} */ (event.target);
    if (!this.root.isConnected) return;
    if (event.ctrlKey || event.metaKey || event.altKey || on.matches("input, select, textarea")) return;
    if (event.key === "[") this.fromHere();
    else if (event.key === "]") this.toHere();
  }

  fromHere() {
    this.mark = this.slow.position;
    if (this.slow.loop) this.setLoop({ from: this.mark, to: this.slow.loop.to });
    this.shown();
  }

  toHere() {
    const from = this.mark ?? this.slow.loop?.from ?? 0;
    this.setLoop({ from, to: this.slow.position });
  }

  /** @param {Loop | null} loop */
  setLoop(loop) {
    this.mark = null;
    this.doing(this.slow.setLoop(loop));
  }

  sped() {
    const percent = Number(this.speed.value);
    this.part("said-speed").textContent = `${percent} %`;
    clearTimeout(this.waiting);
    // a slider tells every step on its way: only where it rests is worth stretching
    this.waiting = setTimeout(() => this.doing(this.slow.setSpeed(percent / 100)), 150);
  }

  /** @type {ReturnType<typeof setTimeout> | undefined} */
  waiting;

  /** @param {string} name @returns {HTMLElement} */
  part(name) {
    return /** @type {HTMLElement} */ (this.root.querySelector(`[data-slow=${name}]`));
  }

  /** @param {Promise<unknown>} work */
  doing(work) {
    work.catch(() => {
      this.slow.stop();
      this.part("said").textContent = FAULT;
    });
  }

  /** Drawn over the sound with finger or mouse, a stretch becomes the loop.
   * @param {PointerEvent} down */
  dragged(down) {
    const wave = this.wave();
    if (!wave) return;
    const at = (/** @type {PointerEvent} */ event) => {
      const box = wave.getBoundingClientRect();
      return ((event.clientX - box.left) / box.width) * (this.audio.duration || 0);
    };
    const up = (/** @type {PointerEvent} */ event) => {
      wave.removeEventListener("pointerup", up);
      if (Math.abs(event.clientX - down.clientX) < DRAGGED_PX) return;
      const swallow = (/** @type {Event} */ click) => click.stopImmediatePropagation();
      wave.addEventListener("click", swallow, { capture: true, once: true });
      setTimeout(() => wave.removeEventListener("click", swallow, { capture: true }), 50);
      this.setLoop({ from: at(down), to: at(event) });
    };
    wave.addEventListener("pointerup", up);
  }

  shown() {
    const { loop, playing } = this.slow;
    this.button("play").textContent = playing ? "Stop" : loop ? "Play loop" : "Play";
    this.button("none").hidden = !loop && this.mark === null;
    const seconds = (/** @type {number} */ s) => `${(Math.round(s * 10) / 10).toFixed(1)} s`;
    const begun = this.mark === null ? "" : `From ${seconds(this.mark)}. Now set the loop end.`;
    this.part("said").textContent = loop ? `From ${seconds(loop.from)} to ${seconds(loop.to)}` : begun;
    const box = document.getElementById("loop-box");
    if (!box) return;
    box.toggleAttribute("hidden", !loop);
    if (!loop || !this.audio.duration) return;
    box.setAttribute("x", `${(100 * loop.from) / this.audio.duration}%`);
    box.setAttribute("width", `${(100 * (loop.to - loop.from)) / this.audio.duration}%`);
  }

  follow() {
    const head = document.getElementById("playhead");
    const step = () => {
      if (!this.root.isConnected) return this.slow.stop(); // the page's middle was replaced
      if (this.slow.looping && head && this.audio.duration) {
        const x = `${(100 * this.slow.position) / this.audio.duration}%`;
        head.setAttribute("x1", x);
        head.setAttribute("x2", x);
      }
      requestAnimationFrame(step);
    };
    step();
  }
}

/** A file of one's own: shown and played here, kept nowhere. */
async function chosen(/** @type {SlowDesk} */ desk, /** @type {File} */ file) {
  const audio = desk.audio;
  desk.slow.stop();
  desk.setLoop(null);
  if (audio.src) URL.revokeObjectURL(audio.src);
  audio.src = URL.createObjectURL(file);
  desk.slow.file = file;
  const said = document.getElementById("said");
  try {
    await new Promise((done, failed) => {
      audio.addEventListener("loadedmetadata", done, { once: true });
      audio.addEventListener("error", failed, { once: true });
    });
    const path = document.getElementById("wave-path");
    path?.setAttribute("d", outline(mono(await desk.slow.samples())));
    document.getElementById("recording")?.removeAttribute("hidden");
    if (said) said.textContent = "";
  } catch {
    document.getElementById("recording")?.setAttribute("hidden", "");
    if (said) said.textContent = `“${file.name}” cannot be played by this browser.`;
  }
}

/** @param {Float32Array} samples */
function outline(samples) {
  const size = Math.max(1, Math.floor(samples.length / SLICES));
  const heights = Array.from({ length: SLICES }, (_, i) => {
    let most = 0;
    for (const x of samples.subarray(i * size, (i + 1) * size)) most = Math.max(most, Math.abs(x));
    return most;
  });
  const scale = 48 / Math.max(0.0001, ...heights);
  const up = heights.map((h, i) => `${i} ${(50 - h * scale).toFixed(1)}`);
  const down = heights.map((h, i) => `${i} ${(50.4 + h * scale).toFixed(1)}`).reverse();
  return `M${up.join("L")}L${down.join("L")}Z`;
}

function wire() {
  const root = document.getElementById("slow");
  if (!root || root.dataset.wired) return;
  root.dataset.wired = "yes";
  const desk = new SlowDesk(root);
  const file = document.getElementById("file");
  const take = () => {
    if (file instanceof HTMLInputElement && file.files?.[0]) void chosen(desk, file.files[0]);
  };
  file?.addEventListener("change", take);
  take(); // a browser keeps the chosen file when the page is loaded again
  document.body.dataset.ready = "yes";
}

document.addEventListener("htmx:afterSettle", wire);
wire();
