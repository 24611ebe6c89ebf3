// @ts-check
// "Play" beside notation. Without scripts it is a plain link to the sound.
import { PassagePlayer } from "../session/audio/play-passage.js";

const hear = new PassagePlayer(() => {
  for (const link of document.querySelectorAll("[data-hear]")) {
    link.textContent = hear.playing ? "Stop" : "Play";
  }
});

document.addEventListener("click", (event) => {
  const within = /** @type {Element} */ (event.target);
  const link = within.closest?.("a[data-hear]");
  if (!(link instanceof HTMLAnchorElement)) return;
  event.preventDefault();
  void hear.toggle(link.href).then((told) => {
    const said = document.getElementById("said");
    if (said && told) said.textContent = told;
  });
});
document.addEventListener("htmx:beforeSwap", () => hear.stop());
