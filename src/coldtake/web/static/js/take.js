// @ts-check
/**
 * Play a take from any note: a notehead, a row of the table, or a point of the sound.
 * The rows carry the times (`data-seek`) and the ids of their noteheads (`data-notation`).
 */

/** @type {Map<string, HTMLElement>} */
const rowOf = new Map();

function index() {
  rowOf.clear();
  for (const element of document.querySelectorAll("#notes-table tr[data-seek]")) {
    const row = /** @type {HTMLElement} */ (element);
    for (const id of (row.dataset.notation ?? "").split(" ")) if (!rowOf.has(id)) rowOf.set(id, row);
  }
}

/** @param {number} at seconds */
function playFrom(at) {
  const audio = document.getElementById("sound");
  if (!(audio instanceof HTMLAudioElement) || Number.isNaN(at)) return;
  audio.currentTime = at;
  audio.play().catch(() => undefined); // the browser may ask for a touch first; the place is set
}

/** @param {Event} event */
function fromNotation(event) {
  const note = /** @type {Element} */ (event.target).closest?.("[data-note]");
  const row = note && rowOf.get(note.getAttribute("data-note") ?? "");
  if (row) playFrom(Number(row.dataset.seek));
}

/** @param {MouseEvent} event */
function fromSound(event) {
  const wave = /** @type {HTMLElement} */ (event.currentTarget);
  const box = wave.getBoundingClientRect();
  playFrom(((event.clientX - box.left) / box.width) * Number(wave.dataset.duration));
}

function follow() {
  const audio = document.getElementById("sound");
  const head = document.getElementById("playhead");
  const wave = document.getElementById("wave");
  if (!(audio instanceof HTMLAudioElement) || !head || !wave) return;
  const x = `${(100 * audio.currentTime) / Number(wave.dataset.duration)}%`;
  head.setAttribute("x1", x);
  head.setAttribute("x2", x);
}

function wire() {
  index();
  const sound = document.getElementById("sound");
  // without scripts the browser's own player stands there
  if (sound instanceof HTMLAudioElement && document.getElementById("slow")) sound.controls = false;
  document.getElementById("evidence")?.addEventListener("click", fromNotation);
  document.getElementById("wave")?.addEventListener("click", fromSound);
  sound?.addEventListener("timeupdate", follow);
  for (const row of document.querySelectorAll(".notes tr[data-seek], .chords-heard [data-seek]")) {
    row.addEventListener("click", () => playFrom(Number(row.getAttribute("data-seek"))));
  }
}

document.addEventListener("htmx:afterSettle", wire);
wire();
