// @ts-check
/**
 * Pencil marks on a page: strokes in ten-thousandths of the whole page, kept apart from its picture
 * and sent after each change. While the pencil is off the page scrolls as any other.
 */

const UNITS = 10_000;
const LEAST = 12; // units that a stroke moves on before another point is kept
const POINTS_MOST = 2_000;
const STROKES_MOST = 400;

/**
 * A place inside what is shown of a page, in units of the whole page.
 * @param {number} x 0..1 @param {number} y 0..1 @param {number[]} box @returns {[number, number]}
 */
export const onPage = (x, y, [left, top, right, bottom]) => [
  Math.round(UNITS * Math.min(1, Math.max(0, left + x * (right - left)))),
  Math.round(UNITS * Math.min(1, Math.max(0, top + y * (bottom - top)))),
];

/**
 * The next point of a stroke, left out where the hand hardly moved.
 * @param {number[]} stroke @param {[number, number]} point
 */
export function longer(stroke, point) {
  const [x, y] = stroke.slice(-2);
  const near = Math.abs(point[0] - x) < LEAST && Math.abs(point[1] - y) < LEAST;
  return near || stroke.length >= 2 * POINTS_MOST ? stroke : [...stroke, ...point];
}

const SVG = "http://www.w3.org/2000/svg";

/** @param {HTMLElement} leaf @param {number[][]} strokes */
function draw(leaf, strokes) {
  const [left, top, right, bottom] = JSON.parse(leaf.dataset.box ?? "[0,0,1,1]").map((/** @type {number} */ n) => n * UNITS);
  let over = leaf.querySelector("svg.over");
  if (!over) {
    over = document.createElementNS(SVG, "svg");
    over.setAttribute("class", "over");
    over.setAttribute("preserveAspectRatio", "none");
    over.setAttribute("viewBox", `${left} ${top} ${right - left} ${bottom - top}`);
    leaf.append(over);
  }
  over.replaceChildren(
    ...strokes.map((stroke) => {
      const line = document.createElementNS(SVG, "polyline");
      line.setAttribute("points", stroke.join(" "));
      line.setAttribute("fill", "none");
      line.setAttribute("stroke", leaf.dataset.colour ?? "#000");
      line.setAttribute("stroke-width", "2.5");
      line.setAttribute("vector-effect", "non-scaling-stroke");
      line.setAttribute("stroke-linecap", "round");
      line.setAttribute("stroke-linejoin", "round");
      return line;
    }),
  );
}

/** @param {HTMLElement} leaf @param {HTMLElement} acts */
function wire(leaf, acts) {
  /** @type {number[][]} */
  let strokes = JSON.parse(leaf.dataset.strokes ?? "[]");
  /** @type {number[] | null} */
  let now = null;
  const box = JSON.parse(leaf.dataset.box ?? "[0,0,1,1]");
  const button = (/** @type {string} */ id) => /** @type {HTMLButtonElement} */ (document.getElementById(id));
  const [pencil, undo, clear] = ["pencil-draw", "pencil-undo", "pencil-clear"].map(button);
  const said = document.getElementById("pencil-said");
  const say = (/** @type {string} */ words) => said && (said.textContent = words);
  acts.hidden = false;

  let sending = Promise.resolve();
  const save = () => {
    const body = new FormData();
    body.set("strokes", JSON.stringify(strokes));
    say("Saving");
    sending = sending.then(async () => {
      const answer = await fetch(acts.dataset.to ?? "", { method: "POST", body }).catch(() => null);
      say(answer?.ok ? "Saved" : "Not saved. Keep this page open, and draw or undo once more.");
    });
  };
  const shown = () => {
    draw(leaf, now ? [...strokes, now] : strokes);
    undo.disabled = clear.disabled = strokes.length === 0;
  };
  const changed = (/** @type {number[][]} */ next) => {
    strokes = next;
    shown();
    save();
  };
  const place = (/** @type {PointerEvent} */ event) => {
    const rect = leaf.getBoundingClientRect();
    return onPage((event.clientX - rect.left) / rect.width, (event.clientY - rect.top) / rect.height, box);
  };

  pencil.addEventListener("click", () => {
    const on = pencil.getAttribute("aria-pressed") !== "true";
    pencil.setAttribute("aria-pressed", String(on));
    leaf.classList.toggle("drawing", on);
  });
  undo.addEventListener("click", () => changed(strokes.slice(0, -1)));
  clear.addEventListener("click", () => changed([]));
  leaf.addEventListener("pointerdown", (event) => {
    if (!leaf.classList.contains("drawing") || now) return;
    if (strokes.length >= STROKES_MOST) return say(`A page holds ${STROKES_MOST} marks. Undo or clear some.`);
    event.preventDefault();
    leaf.setPointerCapture(event.pointerId);
    now = [...place(event)];
  });
  leaf.addEventListener("pointermove", (event) => {
    if (!now) return;
    now = longer(now, place(event));
    shown();
  });
  const up = () => {
    const stroke = now;
    now = null;
    if (!stroke) return;
    // a touch without movement is a dot
    changed([...strokes, stroke.length > 2 ? stroke : [...stroke, stroke[0] + 1, stroke[1]].map((n) => Math.min(UNITS, n))]);
  };
  leaf.addEventListener("pointerup", up);
  leaf.addEventListener("pointercancel", up);
  shown();
}

if (typeof document !== "undefined") {
  const leaf = document.getElementById("leaf");
  const acts = document.getElementById("pencil");
  if (leaf && acts) wire(leaf, acts);
  else if (leaf) draw(leaf, JSON.parse(leaf.dataset.strokes ?? "[]"));
}
