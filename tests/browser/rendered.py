"""The audio that the session page really renders, and when it turned: for a test and for the bench.

Every node that goes to the loudspeaker also goes into the page's own recording worklet, so frames
are those of the audio clock; onsets are found as they come.
"""

import statistics
import time
from typing import Any

from raw_browser import RawBrowser, RawTab

TAP = """
(() => {
  const connect = AudioNode.prototype.connect;
  const post = MessagePort.prototype.postMessage;
  const tapped = (window.__tap = { onsets: [], lost: 0, plan: null, rate: 0, walls: [] });
  let offsets = [], recorder = null, waiting = [], quiet = 1e9, next = null;
  MessagePort.prototype.postMessage = function (data, ...more) {
    if (data?.plan) tapped.plan = { f0: data.plan.f0, spb: data.plan.samplesPerBeat };
    return post.call(this, data, ...more);
  };
  AudioNode.prototype.connect = function (to, ...more) {
    if (to instanceof AudioDestinationNode) {
      if (recorder) connect.call(this, recorder); else waiting.push(this);
    }
    return connect.call(this, to, ...more);
  };
  window.__record = () => {
    const context = waiting[0].context;
    tapped.rate = context.sampleRate;
    recorder = new AudioWorkletNode(context, "coldtake-capture", { numberOfOutputs: 0 });
    recorder.port.onmessage = ({ data }) => {
      if (!data.samples) return;
      if (next !== null && data.frame > next) tapped.lost += data.frame - next;
      next = data.frame + data.samples.length;
      // The audio clock and the time of day drift apart on a busy machine: compared all the time.
      offsets = [...offsets.slice(-20), Date.now() - 1000 * context.currentTime];
      data.samples.forEach((x, i) => {
        if (Math.abs(x) < 0.003) { quiet += 1; return; }
        if (quiet > 0.06 * context.sampleRate) {
          tapped.onsets.push(data.frame + i);
          tapped.walls.push(1000 * (data.frame + i) / context.sampleRate + Math.min(...offsets));
        }
        quiet = 0;
      });
    };
    waiting.forEach((node) => connect.call(node, recorder));
    post.call(recorder.port, { record: { from: 0 } });
  };
  document.addEventListener("DOMContentLoaded", () => {
    window.__turns = [];
    let shown = "";
    new MutationObserver(() => {
      const slot = document.querySelector("#slot-title").textContent;
      if (slot !== shown) window.__turns.push([slot, Date.now()]);
      shown = slot;
    }).observe(document.querySelector("#slot-title"), { childList: true });
  });
})();
"""
BLOCK = "for (const until = performance.now() + 500; performance.now() < until; );"
EVENTS = """(async () => {
  const open = indexedDB.open("coldtake-session");
  const db = await new Promise((done) => (open.onsuccess = () => done(open.result)));
  const all = db.transaction("events").objectStore("events").getAll();
  const events = await new Promise((done) => (all.onsuccess = () => done(all.result)));
  db.close();
  return events.map((e) => [e.event.data.kind, Date.parse(e.event.at)]);
})()"""


def begin(browser: RawBrowser, url: str) -> RawTab:
    """Open the page, begin by keys, and listen to what it renders from then on."""
    tab = browser.tab("about:blank")
    browser.send("Page.enable", tab.session)
    browser.send("Page.addScriptToEvaluateOnNewDocument", tab.session, source=TAP)
    browser.send("Page.navigate", tab.session, url=f"{url}/session")
    tab.show()
    tab.wait("document.body.dataset.ready === 'yes'")
    tab.press(" ", "Space", " ")
    tab.wait("document.body.dataset.screen === 'intention'")
    time.sleep(0.6)  # a press that comes with the turn of the page is none
    tab.press("Enter", "Enter", "\r")
    tab.wait("document.body.dataset.screen !== 'intention'")
    time.sleep(1.0)
    tab.evaluate("__record()")
    return tab


def hide(browser: RawBrowser, tab: RawTab) -> None:
    """Put another tab in front of it."""
    browser.tab("about:blank").show()
    tab.wait("document.visibilityState === 'hidden'")


def click_errors(tab: RawTab) -> dict[str, Any]:
    """Errors of every click against f0 + k * distance [ms], and how many are missing."""
    tap = tab.evaluate("__tap")
    plan, rate = tap["plan"], tap["rate"]
    numbered = [(round((at - plan["f0"]) / plan["spb"]), at) for at in tap["onsets"]]
    clicks = [(k, at) for k, at in numbered if k >= 0]
    errors = [abs(at - plan["f0"] - k * plan["spb"]) / rate * 1000 for k, at in clicks]
    return {
        "clicks": len(clicks),
        "median_ms": round(statistics.median(errors), 4),
        "worst_ms": round(max(errors), 4),
        "missing": max(k for k, _ in clicks) + 1 - len({k for k, _ in clicks}),
        "lost_frames_of_the_measurement": tap["lost"],
    }
