// @ts-check
// Puts the session page together: store, outbox, ticker, keys, touch.

import { SidePanels } from "../view/side-panels.js";
import { Desk } from "./desk.js";
import { Devices } from "../audio/devices.js";
import { doAction } from "./actions-by-scene.js";
import { el, show, text } from "../view/dom.js";
import { actionOf, teach } from "./shortcuts.js";
import { loadSnapshot } from "./log.js";
import { openStore } from "../keeping/store.js";
import { Awake, Tabs } from "./tabs.js";
import { sized, zoom } from "../view/music-page.js";
import { View } from "../view/view.js";
import { drawNotices, fillKeys } from "../view/view-hands.js";
import { clockTime, longDay, minutesSaid } from "./dates.js";
import { now as timeNow } from "./monotonic-clock.js";

const LEAVE_PATIENCE_MS = 2500; // so long the page waits for the outbox before it leaves
const AGAIN_MS = 3000;
const QUIET_S = 10; // so long a leading device may be silent before it is said
const ROOM_EVERY_MS = 10_000;

const roles = { tab: false, device: true }; // a page leads when its tab and its device do
const status = { reached: true, waiting: 0, refused: "", fault: "", misdated: false, awakeRefused: false, roomMs: 0, followsFrom: Infinity };

// Both stand under /session, where the service worker can give them without a server.
const outbox = new Worker("/session-outbox.js", { type: "module" });
const ticker = new Worker("/session-ticker.js", { type: "module" });
const view = new View();
const store = await openStore();
const desk = new Desk(store, poke, draw, () => tabs.tell());
desk.tickAt = (inMs) => ticker.postMessage({ inMs });
const aside = new SidePanels(desk);
const awake = new Awake((refused) => {
  status.awakeRefused = refused;
});
const tabs = new Tabs((leads) => lead({ tab: leads }), (news) => {
  void desk.enqueue(() => desk.reread());
  if (news?.takeId) void desk.enqueue(() => desk.verdict(news));
});

let device = await store.recall("device");
if (!device) await store.note("device", (device = desk.log.newId())).catch(() => undefined);
const devices = new Devices(
  device,
  () => (desk.session?.endedMs === null ? desk.session.id : ""),
  ({ leads, events }) => {
    if (roles.tab) lead({ device: leads });
    const fresh = events.filter((one) => !desk.log.known.has(one.id));
    if (fresh.length) void desk.enqueue(() => desk.elsewhere(fresh));
  },
);

function poke() {
  outbox.postMessage("poke");
}

function draw() {
  view.draw(desk);
  if (desk.snapshot) aside.draw();
  const { screen } = desk.scene();
  const running = !["start", "end"].includes(screen);
  void awake.want(running);
  drawNotices(noticesNow(running));
}

/** @param {boolean} running @returns {string[]} what the player should know now */
function noticesNow(running) {
  const now = timeNow();
  const waiting = status.waiting ? ` (${status.waiting} waiting)` : "";
  const follows = !desk.leading && desk.snapshot !== null && now > status.followsFrom;
  const by = roles.device ? "another tab or window" : devices.by || "another device";
  const other = by[0].toUpperCase() + by.slice(1);
  const quiet = !roles.device && devices.quietS > QUIET_S ? ` (last contact ${quietWords()} ago)` : "";
  /** @type {[boolean, string][]} */
  const lines = [
    [desk.word !== null && desk.word.untilMs > now, desk.word?.words ?? ""],
    [follows, `${other} controls this session${quiet}. Press T or tap here to control it from here.`],
    [!status.reached, `Coldtake does not answer. Everything is saved here and sent later${waiting}.`],
    [status.fault !== "", `Coldtake cannot save now. ${status.fault} Everything is saved here and sent later${waiting}.`],
    [status.misdated, `This device’s clock is wrong: ${longDay(now)}, ${clockTime(now)}. Set the clock. What you play is saved; enter its day under “Your data”.`],
    [desk.log.failing, "This browser cannot save now. Free some space on this device and leave this page open."],
    [running, desk.takes.room.words(desk.sound.rate)],
    [status.refused !== "", `Coldtake did not accept an entry: ${status.refused}. The entry is saved separately.`],
    [status.awakeRefused && running, "The screen may go dark. This browser cannot keep it on."],
    [running && desk.sound.context === null, "Press a key or tap the page once to turn on sound."],
  ];
  return lines.filter(([on, words]) => on && words !== "").map(([, words]) => words);
}

const quietWords = () =>
  devices.quietS < 90 ? `${Math.round(devices.quietS)} s` : minutesSaid(Math.round(devices.quietS / 60));

/** @param {Partial<typeof roles>} change */
function lead(change) {
  Object.assign(roles, change);
  const leading = roles.tab && roles.device;
  if (leading !== desk.leading) {
    desk.leading = leading;
    void desk.enqueue(() => (leading ? desk.rescueTakes() : desk.takes.abandon())).then(poke);
  }
  draw();
}

/** The player wants the session here, in this tab and on this device. */
function takeOver() {
  if (!roles.device) devices.take(performance.now());
  lead({ device: true });
  if (!roles.tab) tabs.lead(true);
}

outbox.onmessage = ({ data }) => {
  if (data.report) Object.assign(status, data.report);
  if (data.refused) status.refused = data.refused[0].why;
  if (data.takeSent) {
    tabs.tell(data.takeSent); // whichever tab sent it, the one that leads shows it
    void desk.enqueue(() => desk.verdict(data.takeSent));
  }
  if (data.takeRefused) desk.refusedTake(data.takeRefused);
  draw();
};
/** Now and then: how much room there is, and whether what found none fits now. */
function lookAround() {
  status.roomMs = performance.now();
  void desk.takes.room.check(store);
  if (desk.log.failing) void desk.enqueue(() => desk.log.settleLoose());
}

ticker.onmessage = () => {
  desk.tick();
  if (performance.now() - status.roomMs > ROOM_EVERY_MS) lookAround();
  if (roles.tab && desk.snapshot) devices.tick(performance.now());
};
document.addEventListener("visibilitychange", () => desk.tick());

const intention = /** @type {HTMLInputElement} */ (el("intention-words"));
desk.written = () => intention.value.trim();
intention.addEventListener("input", () => {
  desk.context.typedMs = intention.value.trim() === "" ? 0 : timeNow();
  draw();
});

/** @param {string} action */
function act(action) {
  if (action === "stage") return stage();
  if (action === "turn" || action === "turn_back") return view.turn(action === "turn" ? 1 : -1);
  if (action === "replay") return void desk.replay(view.faultS());
  if (action === "larger" || action === "smaller") return resize(action === "larger" ? 1 : -1);
  const words = intention.value.trim();
  // Sound needs the very key or touch, not a moment later.
  if (desk.sound.context === null && desk.session) void desk.openSound();
  void desk.enqueue(() => doAction(desk, action, words)).then(draw);
}

function resize(/** @type {1 | -1} */ direction) {
  zoom(direction);
  draw();
}
for (const page of view.pages) page.touched(resize);

const NEXT_LOOK = { light: "dark", dark: "sun", sun: "light" };

/** Day, dark stage, out in the sun. */
function stage() {
  const root = document.documentElement;
  const dark = matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light";
  const seen = root.dataset.look ?? "auto";
  const now = /** @type {keyof typeof NEXT_LOOK} */ (seen in NEXT_LOOK ? seen : dark);
  root.dataset.look = NEXT_LOOK[now];
  try {
    localStorage.setItem("look", root.dataset.look);
  } catch {
    // kept for this page only
  }
  draw();
}

/** What the player's pedal has learnt, and what it is being taught. */
const pedal = { learnt: new Map(), teaching: "" };

/** @param {string} action "" to stop teaching @param {string} [key] the switch that was pressed */
function teachPedal(action, key) {
  if (key && key !== "Escape") {
    pedal.learnt = teach(pedal.learnt, key, pedal.teaching);
    void store.note("pedal", [...pedal.learnt]).catch(() => undefined);
  }
  pedal.teaching = action;
  fillKeys(pedal.learnt, action);
}

document.addEventListener("keydown", (event) => {
  if (pedal.teaching && !event.repeat) {
    event.preventDefault();
    return teachPedal("", event.key);
  }
  const target = event.target instanceof HTMLElement ? event.target : document.body;
  const field = target.matches("input:not([type=checkbox], [type=range]), select, textarea");
  const empty = target instanceof HTMLInputElement && target.value === "";
  if (!desk.leading && event.key.toLowerCase() === "t" && !field) return takeOver();
  const action = actionOf(event, { field, empty }, pedal.learnt);
  if (!action) return;
  // Space and Enter on a focused control are that control's, except the page's own buttons.
  const control = target.closest("summary, a, select, input:not(#intention-words), form#end-form button");
  if (action === "on" && control && event.key !== "PageDown") return;
  if (action === "on" && target instanceof HTMLButtonElement && [" ", "Enter"].includes(event.key)) {
    if (target.dataset.do) return; // its click does it
  }
  event.preventDefault();
  if (event.key === "Escape") closeDrawers();
  act(action);
});

/** Puts the drawers away; the next Space is the pedal's again, not a summary's. */
function closeDrawers() {
  const { activeElement } = document;
  if (activeElement instanceof HTMLElement && activeElement.closest("details")) activeElement.blur();
  for (const drawer of document.querySelectorAll("details[open]")) drawer.removeAttribute("open");
}

document.addEventListener("click", (event) => {
  const within = event.target instanceof Element ? event.target : document.body;
  if (!within.closest("details")) closeDrawers();
  if (!desk.leading && within.closest("#notices")) return takeOver();
  const lesson = within.closest("[data-teach]");
  if (lesson instanceof HTMLButtonElement) {
    lesson.blur();
    return teachPedal(lesson.dataset.teach ?? "");
  }
  if (pedal.teaching) teachPedal("");
  const target = within.closest("[data-do]");
  if (!(target instanceof HTMLButtonElement)) return;
  act(target.dataset.do ?? "");
  target.blur(); // the next Space is the pedal's, not this button's
});

el("intention-form").addEventListener("submit", (event) => {
  event.preventDefault();
  act("on");
});

el("end-form").addEventListener("submit", (event) => {
  event.preventDefault();
  const button = event.submitter instanceof HTMLButtonElement ? event.submitter.value : "/tomorrow";
  void finish(button);
});

/** Writes the note down, waits a moment for the outbox, and goes. */
async function finish(/** @type {string} */ path) {
  const { session } = desk;
  const note = /** @type {HTMLInputElement} */ (el("end-note")).value.trim();
  if (session && note !== session.note) {
    const data = { kind: /** @type {const} */ ("session_ended"), session_id: session.id };
    await desk.write([{ atMs: timeNow(), data: { ...data, note, early: session.early } }]);
  }
  const until = timeNow() + LEAVE_PATIENCE_MS;
  while (timeNow() < until && (await store.unsent(1)).length > 0) {
    await new Promise((done) => setTimeout(done, 50));
  }
  if (status.reached) location.assign(path);
  else desk.say("Saved here. Coldtake does not answer yet. Press again later.");
}

/** @param {string} id @param {(field: HTMLInputElement) => object | null} read */
function onClickField(id, read) {
  el(id).addEventListener("change", () => {
    const seen = desk.scene();
    const change = read(/** @type {HTMLInputElement} */ (el(id)));
    if (seen.screen === "slot" && change) void desk.setClick(seen.place.slot.step_id, change);
  });
}
const within = (/** @type {HTMLInputElement} */ f) => (f.checkValidity() && f.value ? Number(f.value) : null);
onClickField("click-on", (f) => ({ on: f.checked }));
onClickField("click-through", (f) => ({ through: f.checked }));
onClickField("click-bpm", (f) => (within(f) === null ? null : { bpm: Number(f.value) }));
onClickField("click-unit", (f) => ({ unit: Number(f.value) }));
onClickField("click-bar", (f) => (within(f) === null ? null : { perBar: Number(f.value) }));
onClickField("click-bars", (f) => (within(f) === null ? null : { bars: Number(f.value) }));
onClickField("click-beats", (f) => ({ beats: (f.value.match(/\d+/g) ?? []).map(Number).filter((n) => n > 0) }));
onClickField("click-with", (f) => (within(f) === null ? null : { barsOn: Number(f.value) }));
onClickField("click-without", (f) => (within(f) === null ? null : { barsOff: Number(f.value) }));
el("click-volume").addEventListener("input", () => {
  desk.volume = Number(/** @type {HTMLInputElement} */ (el("click-volume")).value) / 100;
  void store.note("volume", desk.volume);
});

/** Keeps page and notation for a reload without a server. */
async function keepPage() {
  if (!("serviceWorker" in navigator)) return;
  await navigator.serviceWorker.register("/session-worker.js", { scope: "/session" });
  const cache = await caches.open("session-notation");
  const urls = Object.values(desk.snapshot?.steps ?? {}).flatMap((s) => (s.notation ? [sized(s.notation)] : []));
  for (const url of new Set(urls)) {
    if (!(await cache.match(url))) await cache.add(url).catch(() => undefined);
  }
}

async function open() {
  pedal.learnt = new Map((await store.recall("pedal")) ?? []);
  fillKeys(pedal.learnt, "");
  const { snapshot, reached } = await loadSnapshot(store);
  status.reached = reached;
  if (!snapshot) {
    text(el("wait-words"), "Coldtake does not answer");
    text(el("wait-more"), "Nothing is saved here yet. Start Coldtake. This page then continues by itself.");
    setTimeout(() => void open(), AGAIN_MS);
    return;
  }
  await desk.adopt(snapshot);
  if (reached) devices.seen = snapshot.seen;
  status.followsFrom = timeNow() + 1000;
  tabs.lead();
  if (reached) await keepPage().catch(() => undefined);
  lookAround();
  void navigator.storage?.persist?.().catch(() => undefined);
  document.body.dataset.ready = "yes";
}

show(el("line"), false);
await open();
