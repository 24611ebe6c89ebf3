// @ts-check
/** Search in a long list of topics: what does not match is hidden, headings without a line too. */

/** Without case and accents, so that "etude" finds "Étude". @param {string} text */
export const plain = (text) =>
  text
    .normalize("NFD")
    .replace(/\p{M}/gu, "")
    .toLowerCase();

/** Whether every word stands somewhere in a title. @param {string} search @param {string} title */
export function matches(search, title) {
  const within = plain(title);
  return plain(search)
    .split(/\s+/)
    .every((word) => within.includes(word));
}

/** @param {string} search */
function show(search) {
  let shown = 0;
  let all = 0;
  for (const part of document.querySelectorAll("section.has-part")) {
    const lines = [...part.querySelectorAll("li[data-title]")];
    if (lines.length === 0) continue;
    let here = 0;
    for (const line of lines) {
      if (!(line instanceof HTMLElement)) continue;
      line.hidden = !matches(search, line.dataset.title ?? "");
      here += line.hidden ? 0 : 1;
    }
    if (part instanceof HTMLElement) part.hidden = here === 0;
    shown += here;
    all += lines.length;
  }
  const told = document.getElementById("found-topics");
  if (told) told.textContent = search.trim() ? `${shown} of ${all} topics` : "";
}

if (typeof document !== "undefined") {
  // The list is exchanged after each change of a topic: what was searched for stays.
  let sought = "";
  document.addEventListener("input", (event) => {
    if (!(event.target instanceof HTMLInputElement) || event.target.id !== "find-topic") return;
    sought = event.target.value;
    show(sought);
  });
  document.addEventListener("htmx:afterSettle", () => {
    const field = document.getElementById("find-topic");
    if (!(field instanceof HTMLInputElement) || !sought || field.value === sought) return;
    field.value = sought;
    show(sought);
  });
}
