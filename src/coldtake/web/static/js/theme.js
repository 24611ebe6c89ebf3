// @ts-check
// The player's choice of light, set before anything is painted (this file loads before the body).
(() => {
  const chosen = () => {
    try {
      return localStorage.getItem("look") ?? "auto";
    } catch {
      return "auto"; // storage refused: the device's own choice stays
    }
  };
  document.documentElement.dataset.look = chosen();
  document.addEventListener("DOMContentLoaded", () => {
    for (const radio of document.querySelectorAll("#look input")) {
      const input = /** @type {HTMLInputElement} */ (radio);
      input.checked = input.value === chosen();
      input.addEventListener("change", () => {
        document.documentElement.dataset.look = input.value;
        try {
          localStorage.setItem("look", input.value);
        } catch {
          // kept for this page only
        }
      });
    }
  });
})();
