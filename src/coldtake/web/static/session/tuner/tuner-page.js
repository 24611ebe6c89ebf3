// @ts-check
// The tuner on a page of its own: to warm up, before or without a session.

import { el, show, text } from "../view/dom.js";
import { MIC_WORDS, Sound } from "../audio/sound.js";
import { TunerPanel } from "./tuner-panel.js";

const sound = new Sound();
const start = /** @type {HTMLButtonElement} */ (el("tuner-start"));
const root = el("tuner");

const panel = new TunerPanel(
  root,
  {
    context: () => sound.open(false).then(() => sound.context),
    microphone: () => sound.open(true).then(() => sound.source),
    trouble: () => MIC_WORDS[sound.mic],
  },
  Number(root.dataset.a4),
);

start.addEventListener("click", () => {
  show(start, false);
  void panel.start();
});
sound.onChange = () => {
  const open = sound.mic === "open";
  text(el("tuner-mic"), open ? "The tuner is on. Nothing is recorded." : MIC_WORDS[sound.mic]);
  show(start, !open && sound.mic !== "asking");
};
document.addEventListener("visibilitychange", () => {
  if (document.hidden) panel.stop();
  else if (sound.mic === "open") void panel.start();
});
document.body.dataset.ready = "yes";
