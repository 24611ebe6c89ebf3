"""Where the clicks really are, in the audio that the worklet renders.

A click's first sample is its loudest, so its place is where the sound rises from nothing.
"""

import itertools

import numpy as np
import pytest
from stand import Stand

pytestmark = pytest.mark.browser

OFFLINE = """
async ({ rate, plan, seconds, gap }) => {
  const context = new OfflineAudioContext(1, rate * seconds, rate);
  await context.audioWorklet.addModule("/static/session/audio/click-worklet.js");
  const options = { outputChannelCount: [1], processorOptions: { plan } };
  new AudioWorkletNode(context, "coldtake-click", options).connect(context.destination);
  const sound = (await context.startRendering()).getChannelData(0);
  const starts = [];
  let last = -Infinity;
  sound.forEach((x, i) => {
    if (Math.abs(x) < 1e-6) return;
    if (i - last > gap) starts.push([i, x]);
    last = i;
  });
  return { starts };
}
"""

# The real audio clock: the click node is recorded by the capture worklet of the session page
# while the main thread is blocked for half a second, again and again.
BLOCKED = """
async ({ bpm, seconds }) => {
  const context = new AudioContext({ latencyHint: "playback" });
  await context.resume();
  await context.audioWorklet.addModule("/static/session/audio/click-worklet.js");
  await context.audioWorklet.addModule("/static/session/audio/capture-worklet.js");
  const click = new AudioWorkletNode(context, "coldtake-click", { outputChannelCount: [1] });
  const capture = new AudioWorkletNode(context, "coldtake-capture", { numberOfOutputs: 0 });
  const batches = [];
  capture.port.onmessage = ({ data }) => data.samples && batches.push(data);
  click.connect(capture);
  click.connect(context.destination);
  const rate = context.sampleRate;
  const start = Math.round(context.currentTime * rate) + rate / 4;
  const spb = (rate * 60) / bpm;
  capture.port.postMessage({ record: { from: 0 } });
  const bar = { perBar: 4, accentOffset: 0, volume: 1 };
  const plan = { f0: start, samplesPerBeat: spb, count: Infinity, ...bar };
  click.port.postMessage({ plan });
  const end = performance.now() + seconds * 1000;
  while (performance.now() < end) {
    await new Promise((done) => setTimeout(done, 150));
    for (const until = performance.now() + 500; performance.now() < until; );
  }
  await new Promise((done) => setTimeout(done, 400));
  await context.close();
  const frames = [];
  for (const { frame, samples } of batches)
    samples.forEach((x, i) => Math.abs(x) > 0.01 && frames.push(frame + i));
  const lost = batches.slice(1).reduce(
    (sum, b, i) => sum + b.frame - batches[i].frame - batches[i].samples.length, 0);
  return { frames, start, spb, lost };
}
"""


def starts(frames: np.ndarray, gap: float) -> np.ndarray:
    """First frames of runs of sounding frames."""
    return frames[np.diff(frames, prepend=-gap - 1) > gap]


@pytest.fixture(scope="module")
def page(chromium, serving, tmp_path_factory):
    with serving(tmp_path_factory.mktemp("click")) as server:
        page = chromium.new_page()
        yield Stand(page, server.url).open().page
        page.close()


@pytest.mark.parametrize(
    ("rate", "bpm", "per_bar"), [(44_100, 92.0, 4), (48_000, 137.5, 3), (44_100, 333.0, 0)]
)
def test_every_click_is_within_one_sample(page, rate, bpm, per_bar):
    plan = {
        "f0": 1000,
        "samplesPerBeat": rate * 60 / bpm,
        "count": 60,
        "perBar": per_bar,
        "accentOffset": 1 if per_bar else 0,
        "volume": 1,
    }
    asked = {"rate": rate, "plan": plan, "seconds": 20, "gap": 0.05 * rate}
    found, loud = np.array(page.evaluate(OFFLINE, asked)["starts"]).T
    ideal = 1000 + np.arange(60) * rate * 60 / bpm
    ideal = ideal[ideal < 20 * rate - 10]
    assert len(found) == len(ideal)
    assert np.abs(found - ideal).max() <= 1.0
    accents = np.arange(len(found)) % per_bar == 1 if per_bar else np.zeros(len(found), bool)
    assert np.allclose(loud, np.where(accents, 1.0, 0.7), atol=1e-6)


def test_clicks_do_not_move_while_the_main_thread_is_blocked(page):
    # A machine too busy to run the recorder itself loses frames: such a measurement says nothing
    # about the clicks and is taken again, a few times at most.
    for _ in range(5):
        heard = page.evaluate(BLOCKED, {"bpm": 120, "seconds": 4})
        if heard["lost"] == 0:
            break
    found = starts(np.array(heard["frames"]), 0.05 * heard["spb"])
    assert heard["lost"] == 0
    assert len(found) >= 6
    ideal = heard["start"] + np.arange(len(found)) * heard["spb"]
    assert np.abs(found - ideal).max() <= 1.0
    beats = [b - a for a, b in itertools.pairwise(found)]
    assert max(beats) - min(beats) <= 1
