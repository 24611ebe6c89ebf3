// @ts-check
// The device's own page. The code comes with the scanned address. A service worker starts only
// where the browser trusts the certificate: so the page knows whether that has to come first.

const code = /** @type {HTMLInputElement | null} */ (document.getElementById("code"));
const scanned = /^#(\d{3})(\d{3})(\d{3})$/.exec(location.hash);
if (code && scanned) {
  code.value = scanned.slice(1).join(" ");
  history.replaceState(null, "", location.pathname);
}
void show(await trusted());

/** @returns {Promise<boolean>} */
async function trusted() {
  if (!("serviceWorker" in navigator)) return false;
  try {
    const worker = await navigator.serviceWorker.register("/pair/worker.js", { scope: "/pair/" });
    await worker.unregister();
    return true;
  } catch {
    return false;
  }
}

/** @param {boolean} good */
function show(good) {
  const first = document.getElementById("trust-first");
  if (first) first.hidden = good;
  const place = document.getElementById("secure");
  if (!place) return;
  place.dataset.check = good ? "yes" : "no";
  place.textContent = good
    ? "This page is secure. The microphone, the screen and offline use work."
    : "Pairing works. But this browser does not trust your computer yet, so the session needs the network.";
}
