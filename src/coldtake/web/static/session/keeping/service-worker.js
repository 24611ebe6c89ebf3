// @ts-check
// Served as /session-worker.js with KEPT (paths) and VERSION written in front of it. The network
// comes first, so that nobody sees an old page while the server lives; when it does not answer,
// the page, its parts and the notation come from here. Events and takes never pass through here.

/** @type {any} */
const worker = self;
/** @type {string[]} */
// @ts-ignore written in front when served
const kept = KEPT;
// @ts-ignore written in front when served
const CACHE = `session-${VERSION}`;
const NOTATION = "session-notation";
const PATIENCE_MS = 3000;

worker.addEventListener("install", (/** @type {any} */ event) => {
  event.waitUntil(
    caches
      .open(CACHE)
      .then((cache) => cache.addAll(kept.map((path) => new Request(path, { cache: "reload" }))))
      .then(() => worker.skipWaiting()),
  );
});

worker.addEventListener("activate", (/** @type {any} */ event) => {
  event.waitUntil(
    caches
      .keys()
      .then((names) =>
        Promise.all(names.filter((n) => ![CACHE, NOTATION].includes(n)).map((n) => caches.delete(n))),
      )
      .then(() => worker.clients.claim()),
  );
});

worker.addEventListener("fetch", (/** @type {any} */ event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== location.origin) return;
  if (kept.includes(url.pathname)) event.respondWith(answer(event.request, url, CACHE));
  else if (/^\/passages\/.*\.svg$/.test(url.pathname)) {
    event.respondWith(answer(event.request, url, NOTATION));
  }
});

/** @param {Request} request @param {URL} url @param {string} name */
async function answer(request, url, name) {
  const cache = await caches.open(name);
  const key = name === CACHE ? url.pathname : url.pathname + url.search;
  const fresh = fetch(request).then((response) => {
    if (response.ok) void cache.put(key, response.clone());
    return response;
  });
  fresh.catch(() => undefined); // told below, where it matters
  try {
    return await Promise.race([fresh, refusal(PATIENCE_MS)]);
  } catch {
    const found = await cache.match(key);
    if (found) return found;
    return fresh;
  }
}

/** @param {number} ms @returns {Promise<never>} */
const refusal = (ms) => new Promise((_, reject) => setTimeout(() => reject(new Error("late")), ms));
