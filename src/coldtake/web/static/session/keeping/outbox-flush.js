// @ts-check
// For the other pages: what a session could not send (the server was away, the page was left) goes
// out from here. Does nothing where this browser never held a session.

const known = await (indexedDB.databases?.() ?? Promise.resolve([]));
if (known.some((one) => one.name === "coldtake-session")) {
  const { openStore } = await import("./store.js");
  const store = await openStore();
  const takes = (await store.takes()).filter((take) => take.status === "ready");
  if (takes.length > 0 || (await store.unsent(1)).length > 0) {
    new Worker("/session-outbox.js", { type: "module" });
  }
}

export {};
