// @ts-check
// After takes were deleted: lets go of what this browser's store still holds of them. Does nothing
// where this browser never held a session.

/** @type {{takes: string[], entries: string[]} | null} */
const gone = JSON.parse(document.querySelector("[data-forget]")?.getAttribute("data-forget") ?? "null");
const known = gone === null ? [] : await (indexedDB.databases?.() ?? Promise.resolve([]));
if (gone !== null && known.some((one) => one.name === "coldtake-session")) {
  const { openStore } = await import("../session/keeping/store.js");
  const store = await openStore();
  await store.forget(gone.entries);
  for (const takeId of gone.takes) await store.dropTake(takeId);
  document.documentElement.dataset.forgotten = String(gone.takes.length);
}

export {};
