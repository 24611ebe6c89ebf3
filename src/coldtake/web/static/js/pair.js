// @ts-check
// The device's own page: the code comes with the scanned address; once paired, the page says
// whether the browser trusts it, which a service worker needs.

const code = /** @type {HTMLInputElement | null} */ (document.getElementById("code"));
const scanned = /^#(\d{6})$/.exec(location.hash);
if (code && scanned) {
  code.value = `${scanned[1].slice(0, 3)} ${scanned[1].slice(3)}`;
  history.replaceState(null, "", location.pathname);
}

const place = document.getElementById("secure");
if (place) void check(place);

/** @param {HTMLElement} place */
async function check(place) {
  const words = await said();
  place.dataset.check = words ? "no" : "yes";
  place.textContent =
    words || "This page is secure: microphone, a waking screen and playing without the network work.";
}

/** @returns {Promise<string>} what is missing, or nothing */
async function said() {
  const why = "Pairing worked, but this browser does not trust the page yet. Take in the certificate";
  if (!("serviceWorker" in navigator)) return `${why}, then load this page again.`;
  try {
    await navigator.serviceWorker.register("/session-worker.js", { scope: "/session" });
    return "";
  } catch {
    return `${why}; until then a session here does not survive a lost network.`;
  }
}
