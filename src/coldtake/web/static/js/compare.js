// @ts-check
/**
 * Two takes of one passage: change from one to the other at the same note, both equally loud.
 * The page carries pairs of seconds at which both are at the same note (`data-anchors`).
 */

const BEFORE_S = 0.15; // playing from a bar begins this much before its first note

/**
 * The second in the other sound that belongs to one in this, straight between two anchors.
 * @param {number} at @param {number[][]} anchors @param {0 | 1} from @returns {number}
 */
export function there(at, anchors, from) {
  const to = from === 0 ? 1 : 0;
  if (anchors.length === 0) return at;
  let low = 0;
  while (low < anchors.length - 1 && at >= anchors[low + 1][from]) low += 1;
  const [a, b] = [anchors[low], anchors[low + 1]];
  if (at < a[from] || !b) return Math.max(a[to] + at - a[from], 0); // before the first, after the last
  return a[to] + ((at - a[from]) / (b[from] - a[from])) * (b[to] - a[to]);
}

/** @returns {HTMLAudioElement[]} */
const sounds = () =>
  [...document.querySelectorAll("audio[data-side]")].filter((s) => s instanceof HTMLAudioElement);

/** @param {HTMLElement} desk */
function wire(desk) {
  const both = sounds();
  for (const sound of both) sound.volume = Number(sound.dataset.volume);
  if (both.length < 2) return;
  /** @type {number[][]} */
  const anchors = JSON.parse(desk.dataset.anchors ?? "[]");
  /** @type {0 | 1} */
  let side = 0;

  /** @param {0 | 1} which @param {number} at */
  const play = (which, at) => {
    side = which;
    both[which === 0 ? 1 : 0].pause();
    both[which].currentTime = at;
    both[which].play().catch(() => undefined); // a touch is needed first; the place is set
    tell();
  };
  /** @param {0 | 1} which */
  const change = (which) => {
    const now = both[side].currentTime;
    play(which, which === side ? now : there(now, anchors, side));
  };
  const tell = () => {
    for (const button of desk.querySelectorAll("[data-play]")) {
      const on = Number(button.getAttribute("data-play")) === side && !both[side].paused;
      button.setAttribute("aria-pressed", String(on));
    }
  };
  for (const sound of both) for (const kind of ["play", "pause"]) sound.addEventListener(kind, tell);
  for (const [which, sound] of both.entries()) {
    sound.addEventListener("play", () => {
      side = which === 0 ? 0 : 1;
      both[which === 0 ? 1 : 0].pause(); // two at once would tell nothing
    });
  }
  for (const button of desk.querySelectorAll("[data-play]")) {
    if (!(button instanceof HTMLButtonElement)) continue;
    button.hidden = false;
    button.addEventListener("click", () => change(button.dataset.play === "1" ? 1 : 0));
  }
  for (const bar of desk.querySelectorAll("[data-at]")) {
    bar.addEventListener("click", () => {
      const at = JSON.parse(bar.getAttribute("data-at") ?? "[0, 0]");
      play(side, Math.max(at[side] - BEFORE_S, 0));
    });
  }
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const key = event.key.toLowerCase();
    if (key === "a") change(0);
    if (key === "b") change(1);
    if (key === " " && event.target === document.body) {
      event.preventDefault();
      if (both[side].paused) play(side, both[side].currentTime);
      else both[side].pause();
    }
  });
}

const desk = typeof document === "undefined" ? null : document.getElementById("compare");
if (desk) wire(desk);
