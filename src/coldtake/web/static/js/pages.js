// @ts-check
/**
 * What all planning and looking-back pages share.
 *
 * A form marked `data-page` is an ordinary form: the server changes something and sends the browser
 * to the page that shows it. With htmx here, the same answer is fetched and only `#main` is
 * replaced; focus stays on the control with the same id. `data-says` is spoken after it worked.
 */

/** @param {ParentNode} root */
function enhance(root) {
  for (const form of root.querySelectorAll("form[data-page]:not([hx-post])")) {
    const address = form.getAttribute("action") ?? location.pathname;
    form.setAttribute("hx-post", address);
    form.setAttribute("hx-target", "#main");
    form.setAttribute("hx-select", "#main");
    form.setAttribute("hx-swap", "outerHTML show:none");
    if (form.getAttribute("enctype")) form.setAttribute("hx-encoding", "multipart/form-data");
    htmx.process(form);
  }
}

/** @param {string} words */
function say(words) {
  const place = document.getElementById("said");
  if (place) place.textContent = words;
}

/**
 * Where the hand goes after a change: to what the page itself says (a refusal beside its button), or
 * to what the form names, since the control that was pressed may stand elsewhere now.
 */
let follow = "";
function goOn() {
  const here = document.querySelector("[data-here]");
  const goal = here ?? document.getElementById(follow);
  here?.removeAttribute("data-here"); // once: other parts of the page are fetched again by themselves
  follow = "";
  if (!(goal instanceof HTMLElement)) return;
  goal.focus();
  (goal.closest(".room") ?? goal).scrollIntoView({ block: "nearest" });
}

document.addEventListener("htmx:afterSettle", () => {
  enhance(document);
  goOn();
});
/**
 * A part that a page fetches by itself says nothing, and takes away nothing that was said.
 * @param {Element} asking
 */
const byItself = (asking) => asking.matches("[hx-trigger^=load]");
document.addEventListener("htmx:beforeRequest", (event) => {
  if (byItself(/** @type {CustomEvent} */ (event).detail.elt)) return;
  say("");
  document.getElementById("fault")?.replaceChildren(); // what was refused before is past
});
document.addEventListener("htmx:afterRequest", (event) => {
  const detail = /** @type {CustomEvent} */ (event).detail;
  if (!detail.successful) return;
  // `detail.elt` is the body once the form has been replaced
  const form = /** @type {HTMLElement} */ (detail.requestConfig.elt);
  if (byItself(form)) return;
  say(form.dataset.says ?? "");
  follow = form.dataset.then ?? "";
});
document.addEventListener("htmx:sendError", () => {
  const fault = document.getElementById("fault");
  if (!fault) return;
  const box = document.createElement("div");
  box.className = "fault";
  box.textContent = "Coldtake does not answer. Nothing was changed. Start Coldtake, then try again.";
  fault.replaceChildren(box);
});

enhance(document);
goOn();

/**
 * The grip of a slot: arrows move and stretch it, P pins, Delete leaves it out. Each key presses the
 * button of that name, so that keyboard and touch do the same.
 */
/** @type {Record<string, string[]>} */
const GRIP_KEYS = {
  ArrowUp: ["earlier"],
  ArrowDown: ["later"],
  ArrowLeft: ["shorter"],
  ArrowRight: ["longer"],
  p: ["pin", "unpin"],
  Delete: ["refuse"],
};
document.addEventListener("keydown", (event) => {
  const grip = /** @type {Element} */ (event.target);
  if (!grip.matches?.(".grip") || event.ctrlKey || event.altKey || event.metaKey) return;
  const names = GRIP_KEYS[event.key.length === 1 ? event.key.toLowerCase() : event.key];
  if (!names) return;
  event.preventDefault();
  const slot = grip.closest("[data-slot]");
  const buttons = names.map((name) => slot?.querySelector(`button[data-act="${name}"]:not(:disabled)`));
  /** @type {HTMLElement | undefined} */ (buttons.find(Boolean))?.click();
});
document.addEventListener("click", (event) => {
  const grip = /** @type {Element} */ (event.target).closest?.(".grip");
  const details = grip?.closest("[data-slot]")?.querySelector("details");
  if (details) details.open = !details.open;
});

/**
 * What was unfolded stays unfolded and the hand stays where it was when the page's middle is
 * replaced. A slot that changed its id says so (`data-moved`); when the control is gone, the hand
 * goes to the slot that stands in its place.
 * @type {{ open: string[], id: string, place: number }}
 */
let before = { open: [], id: "", place: -1 };

/** @returns {HTMLElement[]} */
const grips = () => [...document.querySelectorAll(".grip")].map((g) => /** @type {HTMLElement} */ (g));

document.addEventListener("htmx:beforeSwap", () => {
  const active = document.activeElement;
  const slot = active?.closest("[data-slot]");
  before = {
    open: [...document.querySelectorAll("details[open][id]")].map((d) => d.id),
    id: active?.id ?? "",
    place: slot ? grips().findIndex((g) => slot.contains(g)) : -1,
  };
});
document.addEventListener("htmx:afterSettle", () => {
  const moved = document.querySelector("[data-moved]")?.getAttribute("data-moved");
  const was = /^([a-z]+)-(.+)$/.exec(before.id);
  const open = before.open.map((id) => (moved && was && id === `change-${was[2]}` ? `change-${moved}` : id));
  for (const id of open) {
    const details = document.getElementById(id);
    if (details instanceof HTMLDetailsElement) details.open = true;
  }
  if (before.place < 0) return;
  const same = was && document.getElementById(`${was[1]}-${moved ?? was[2]}`);
  const gone = !same || (same instanceof HTMLButtonElement && same.disabled);
  const instead = (moved && document.getElementById(`grip-${moved}`)) || grips()[Math.min(before.place, grips().length - 1)];
  (gone ? instead : same)?.focus();
  before.place = -1;
});

// A form that takes a while says what it is doing.
document.addEventListener("submit", (event) => {
  const form = /** @type {HTMLFormElement} */ (event.target);
  const button = form.querySelector("button");
  if (!form.dataset.busy || !button) return;
  button.textContent = form.dataset.busy;
  button.disabled = true;
});
