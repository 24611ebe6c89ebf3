// @ts-check
/**
 * Marking a stretch on a topic's pages: the first touch takes the system where it begins, the second
 * the one where it ends; a third begins anew. The form's own fields hold the stretch, so it can be
 * written too, and the lines on the pages follow them. Files can be dropped anywhere on the page.
 */

/** @typedef {{page: number, at: number}} End at: per cent of the page as it is shown */
/** @typedef {{page: number, top: number, bottom: number}} Touch what was touched, per cent */

/**
 * The system that was touched, else the place itself, as per cent of what is shown of the page.
 * @param {number} at per cent @param {number[][]} systems per cent @returns {[number, number]}
 */
export function touchedPart(at, systems) {
  const found = systems.find(([top, bottom]) => top <= at && at <= bottom);
  return found ? [Math.max(0, found[0]), Math.min(100, found[1])] : [at, at];
}

/**
 * Systems from shares of the whole page to per cent of what is shown of it.
 * @param {number[][]} systems @param {number[]} box left, top, right, bottom
 */
export const shownSystems = (systems, [, top, , bottom]) =>
  systems.map((edges) => edges.map((edge) => (100 * (edge - top)) / (bottom - top)));

/**
 * Two touches in the order of the pages, whichever came first.
 * @param {Touch} a @param {Touch} b @returns {[Touch, Touch]}
 */
export const inOrder = (a, b) => (b.page < a.page || (b.page === a.page && b.top < a.top) ? [b, a] : [a, b]);

/**
 * What of a stretch lies on a page, as per cent from top to bottom; null where nothing does.
 * @param {number} page @param {End} first @param {End} last @returns {[number, number] | null}
 */
export function partOn(page, first, last) {
  const swapped = last.page < first.page || (last.page === first.page && last.at < first.at);
  const [from, to] = swapped ? [last, first] : [first, last];
  if (page < from.page || page > to.page) return null;
  return [page === from.page ? from.at : 0, page === to.page ? to.at : 100];
}

const SVG = "http://www.w3.org/2000/svg";

/** @param {string} name @param {Record<string, string | number>} attributes */
function drawn(name, attributes) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, String(value));
  return node;
}

/** @param {HTMLFormElement} form @param {HTMLElement[]} leaves */
function wire(form, leaves) {
  const field = (/** @type {string} */ name) =>
    /** @type {HTMLInputElement} */ (form.elements.namedItem(name));
  const end = (/** @type {string} */ which) => ({
    page: Number(field(`${which}_page`).value),
    at: Number(field(`${which}_at`).value),
  });
  const put = (/** @type {string} */ which, /** @type {End} */ { page, at }) => {
    field(`${which}_page`).value = String(page);
    field(`${which}_at`).value = String(Math.round(at * 10) / 10);
  };
  let touches = 0;
  /** @type {Touch | null} */
  let before = null;
  let dragged = "";

  const draw = () => {
    for (const leaf of leaves) {
      leaf.querySelector(".over")?.remove();
      const part = partOn(Number(leaf.dataset.leaf), end("first"), end("last"));
      if (!part || touches === 0) continue;
      const over = drawn("svg", { class: "over", viewBox: "0 0 100 100", preserveAspectRatio: "none" });
      over.append(drawn("rect", { class: "stretch", x: 0, width: 100, y: part[0], height: Math.max(0, part[1] - part[0]) }));
      for (const which of ["first", "last"]) {
        const { page, at } = end(which);
        if (page !== Number(leaf.dataset.leaf)) continue;
        over.append(drawn("line", { class: "edge", x1: 0, x2: 100, y1: at, y2: at }));
        over.append(drawn("line", { class: "grip", x1: 0, x2: 100, y1: at, y2: at, "data-end": which }));
      }
      leaf.append(over);
    }
  };

  for (const leaf of leaves) {
    const page = Number(leaf.dataset.leaf);
    const box = JSON.parse(leaf.dataset.box ?? "[0,0,1,1]");
    const systems = shownSystems(JSON.parse(leaf.dataset.systems ?? "[]"), box);
    const place = (/** @type {MouseEvent} */ event) => {
      const shown = leaf.getBoundingClientRect();
      return Math.min(100, Math.max(0, (100 * (event.clientY - shown.top)) / shown.height));
    };
    leaf.addEventListener("pointerdown", (event) => {
      const grip = /** @type {Element} */ (event.target).closest("[data-end]");
      dragged = grip?.getAttribute("data-end") ?? "";
      if (dragged) leaf.setPointerCapture(event.pointerId);
    });
    leaf.addEventListener("pointermove", (event) => {
      if (!dragged) return;
      put(dragged, { page, at: place(event) });
      draw();
      moved = true;
    });
    let moved = false;
    leaf.addEventListener("pointerup", () => (dragged = ""));
    leaf.addEventListener("pointercancel", () => (dragged = ""));
    leaf.addEventListener("click", (event) => {
      if (moved) {
        moved = false; // the end of a drag is no touch
        return;
      }
      const [top, bottom] = touchedPart(place(event), systems);
      const touch = { page, top, bottom };
      const [first, last] = inOrder(touches % 2 === 1 && before ? before : touch, touch);
      before = touch;
      put("first", { page: first.page, at: first.top });
      put("last", { page: last.page, at: last.bottom });
      touches += 1;
      draw();
      if (touches % 2 === 0) form.scrollIntoView({ block: "nearest" }); // what is still to be said
    });
  }

  form.addEventListener("input", (event) => {
    if (!/_(page|at)$/.test(/** @type {HTMLInputElement} */ (event.target).name)) return;
    touches = Math.max(touches, 2);
    draw();
  });
}

/** A file dropped anywhere is chosen and sent. */
function takesFiles(/** @type {HTMLFormElement} */ form) {
  const input = form.querySelector("input[type=file]");
  if (!(input instanceof HTMLInputElement)) return;
  const holds = (/** @type {DragEvent} */ event) => event.dataTransfer?.types.includes("Files");
  document.addEventListener("dragover", (event) => {
    if (!holds(event)) return;
    event.preventDefault();
    form.classList.add("over");
  });
  document.addEventListener("dragleave", () => form.classList.remove("over"));
  document.addEventListener("drop", (event) => {
    form.classList.remove("over");
    if (!holds(event) || !event.dataTransfer?.files.length) return;
    event.preventDefault();
    input.files = event.dataTransfer.files;
    form.requestSubmit();
  });
}

if (typeof document !== "undefined") {
  const form = document.getElementById("stretch");
  const leaves = [...document.querySelectorAll("[data-leaf]")].filter((l) => l instanceof HTMLElement);
  if (form instanceof HTMLFormElement) wire(form, leaves);
  const adding = document.querySelector("form.drop-here");
  if (adding instanceof HTMLFormElement) takesFiles(adding);
}
