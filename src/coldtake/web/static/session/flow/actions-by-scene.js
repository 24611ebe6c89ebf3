// @ts-check
// What each action of the key table does in each scene. "On" is the one that a foot finds.

/** @import {Desk} from "./desk.js" */
import * as actions from "./actions.js";
import { BREAK_LEAST_MS } from "./scene.js";
import { now as timeNow } from "./monotonic-clock.js";

const TURNED = ["judging", "verdict", "ask"];
const TURN_MS = 400;

/** @param {Desk} desk @param {string} action @param {string} words written in the intention */
export async function doAction(desk, action, words) {
  if (!desk.leading) return;
  const now = timeNow();
  if (desk.confirming) return confirm(desk, action);
  const { session } = desk;
  if (["on", "back"].includes(action) && justTurned(desk, now)) return;
  switch (action) {
    case "on":
      return on(desk, words);
    case "start_full":
      return desk.scene().screen === "start" ? desk.start(true) : undefined;
    case "back":
      return desk.takes.now?.phase === "ask" ? desk.answer("no") : desk.handsFree.notYet();
    case "yes":
    case "no":
    case "cannot_tell":
      return desk.answer(action);
    case "microphone":
      return void desk.openSound();
    case "end":
      desk.confirming = session !== null && session.endedMs === null;
      return desk.changed();
    case "hear":
      return void desk.listen();
    case "leave":
      return desk.takes.busy ? undefined : desk.takes.drop();
  }
  if (!session) return;
  const seen = desk.scene(now);
  if (action === "take_back") await takeBack(desk, seen, now);
  if (desk.takes.busy) return; // nothing below may cut a take off
  if (action === "move_on") {
    desk.context.held = false;
    await desk.write(actions.moveOn(session, seen, now));
  }
  if (action === "spare") await desk.write(actions.takeSpare(session, seen, now));
  if (action === "hold" && seen.screen === "slot") {
    desk.context.held = true;
    await desk.write(actions.moveOn(session, seen, now));
  }
  if (seen.screen === "slot") await changeClick(desk, action, seen.place.slot.step_id);
  desk.leave();
  await desk.advance();
}

/** A foot was on its way to end the take when the take ended itself: it did not mean an answer. */
function justTurned(/** @type {Desk} */ desk, /** @type {number} */ now) {
  const take = desk.takes.now;
  return take !== null && TURNED.includes(take.phase) && now - take.sinceMs < TURN_MS;
}

/** @param {Desk} desk @param {string} words */
async function on(desk, words) {
  const seen = desk.scene();
  const { session, takes } = desk;
  if (seen.screen === "start") return desk.start(false);
  if (!session) return;
  if (seen.screen === "slot") {
    if (takes.now?.phase === "ask") return desk.answer("yes");
    if (takes.now?.phase === "playing") return takes.finish();
    return takes.busy ? undefined : desk.take();
  }
  void desk.openSound();
  desk.context.held = false;
  const now = timeNow();
  if (seen.screen === "intention") {
    desk.context.typedMs = 0;
    await desk.write(actions.intend(session, seen, words, now));
  } else {
    const done = actions.goOn(session, seen, now);
    if (seen.screen === "break" && done.length === 0) tooShort(desk, seen.run.startedMs, now);
    await desk.write(done);
  }
  await desk.advance();
}

function tooShort(
  /** @type {Desk} */ desk,
  /** @type {number} */ startedMs,
  /** @type {number} */ now,
) {
  const seconds = Math.ceil((startedMs + BREAK_LEAST_MS - now) / 1000);
  desk.say(`A break is at least 3 min. ${seconds} s left.`, 4000);
}

/** @param {Desk} desk @param {import("../model.js").Scene} seen @param {number} now */
async function takeBack(desk, seen, now) {
  if (!desk.session) return;
  const back = actions.takeBack(desk.session, seen, now);
  await desk.write(back);
  if (back.length === 0) return;
  if (!desk.takes.busy) desk.takes.drop();
  desk.say("Answer undone.", 4000);
}

/** @param {Desk} desk @param {string} action @param {string} stepId */
async function changeClick(desk, action, stepId) {
  const click = desk.clickOf(desk.step(stepId), stepId);
  if (action === "click") await desk.setClick(stepId, { on: !click.on });
  if (action === "faster") await desk.setClick(stepId, { bpm: Math.min(300, click.bpm + 2) });
  if (action === "slower") await desk.setClick(stepId, { bpm: Math.max(20, click.bpm - 2) });
}

/** Ending asks once more; every other key goes on playing. */
async function confirm(/** @type {Desk} */ desk, /** @type {string} */ action) {
  desk.confirming = false;
  const { session } = desk;
  if (action === "on" && session) {
    if (desk.takes.busy) await desk.takes.finish();
    desk.takes.drop();
    desk.context.held = false;
    await desk.write(actions.endNow(session, desk.scene(), timeNow()));
    desk.sound.ringAt(null);
  }
  desk.changed();
}
