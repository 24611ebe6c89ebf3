// @ts-check
// Small help with the page's own elements. Nothing is written that is already so, because the
// page is drawn four times a second and a screen reader must not hear it four times.

/** @param {string} id @returns {HTMLElement} */
export function el(id) {
  const found = document.getElementById(id);
  if (!found) throw new Error(`the page has no #${id}`);
  return found;
}

export function text(/** @type {Element} */ node, /** @type {string} */ words) {
  if (node.textContent !== words) node.textContent = words;
}

const BEATS = new Map([
  ["♩", "quarter note"],
  ["♩.", "dotted quarter note"],
  ["♪", "eighth note"],
  ["♪.", "dotted eighth note"],
]);

/** Text with the signs of beats, which a screen reader reads by their names. */
export function score(/** @type {Element} */ node, /** @type {string} */ words) {
  if (node.textContent === words) return;
  const parts = words.split(/([♩♪]\.?(?= =))/).map((part) => {
    const name = BEATS.get(part);
    if (!name) return part;
    const span = html("span", part);
    span.setAttribute("role", "img");
    span.setAttribute("aria-label", name);
    return span;
  });
  node.replaceChildren(...parts);
}

export function show(/** @type {Element} */ node, /** @type {boolean} */ shown) {
  if (node instanceof HTMLElement && node.hidden === shown) node.hidden = !shown;
}

export function attr(
  /** @type {Element} */ node,
  /** @type {string} */ name,
  /** @type {string | number} */ value,
) {
  const words = String(value);
  if (node.getAttribute(name) !== words) node.setAttribute(name, words);
}

const SVG = "http://www.w3.org/2000/svg";

/**
 * @param {string} name @param {Record<string, string | number>} attributes
 * @param {...(Node | string)} inside
 */
export function svg(name, attributes, ...inside) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, String(value));
  node.append(...inside);
  return node;
}

/** The house's sign of an answer, centred at a point. */
export function sign(
  /** @type {string} */ answer,
  /** @type {number | string} */ x,
  /** @type {number | string} */ y,
  size = 20,
) {
  const half = size / 2;
  const use = svg("use", { href: `#sign-${answer}`, x: -half, y: -half, width: size, height: size });
  return svg("svg", { x, y, width: 1, height: 1, overflow: "visible", class: `mark ${answer}` }, use);
}

/** @param {string} name @param {string} [words] @param {string} [css] */
export function html(name, words = "", css = "") {
  const node = document.createElement(name);
  if (words) node.textContent = words;
  if (css) node.className = css;
  return node;
}
