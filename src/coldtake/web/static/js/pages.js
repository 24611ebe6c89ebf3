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

document.addEventListener("htmx:afterSettle", () => enhance(document));
document.addEventListener("htmx:beforeRequest", () => say(""));
document.addEventListener("htmx:afterRequest", (event) => {
  const detail = /** @type {CustomEvent} */ (event).detail;
  const fault = document.getElementById("fault");
  if (!detail.successful) return;
  if (fault) fault.replaceChildren();
  const form = /** @type {HTMLElement} */ (detail.elt);
  say(form.dataset.says ?? "");
});
document.addEventListener("htmx:sendError", () => {
  const fault = document.getElementById("fault");
  if (!fault) return;
  const box = document.createElement("div");
  box.className = "fault";
  box.textContent = "Coldtake does not answer. Nothing was changed; start it again and repeat this.";
  fault.replaceChildren(box);
});

enhance(document);
