"""Sound, pages and paper: sync of cursor and sound, page weight, times, stretching.

    PYTHONPATH=src python bench/sound/run.py [sync] [weight] [times] [slow]

Real Chromium (COLDTAKE_CHROMIUM, else /usr/bin/chromium) against a real server over an empty data
folder of its own. `sync` plays 96 notes through the page's own player while every sample that it
renders is recorded: onsets are measured in that sound, and set on the page's clock by what the
browser says of its output (`getOutputTimestamp`); a lit notehead counts as seen when the frame
after the one that lit it begins. What happens between the browser and the air is not in it.
"""

import io
import socket
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from os import environ
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import uvicorn
from playwright.sync_api import Page, sync_playwright

from coldtake.bootstrap import open_services
from coldtake.domain.topic import Exercise, PassageRef, Place, Step
from coldtake.web.app import create_app
from coldtake.web.forms.criteria import default_criterion

CHROMIUM = environ.get("COLDTAKE_CHROMIUM", "/usr/bin/chromium")
ARGS = ("--no-sandbox", "--disable-gpu", "--autoplay-policy=no-user-gesture-required")
BARS = "|".join(["CzEz Gz cz", "dz Bz Gz Fz", "EzGz cz ez"] * 8)
LINE = f"X:1\nT:Line\nM:4/4\nL:1/8\nQ:1/4=108\nK:C\n{BARS}|]\n"
RATE = 44_100
LATE_FRAME_MS = 20.0

LIVE = """async ({bpm}) => {
  const {Player} = await import("/static/sound/player.js");
  const {Cursor, follow} = await import("/static/sound/cursor.js");
  const score = await (await fetch(location.pathname + ".json")).json();
  const player = new Player();
  await player.open();
  const context = player.context;
  await context.audioWorklet.addModule("/static/session/audio/capture-worklet.js");
  const capture = new AudioWorkletNode(context, "coldtake-capture", {numberOfOutputs: 0});
  const batches = [];
  capture.port.onmessage = ({data}) => data.samples && batches.push(data);
  player.node.connect(capture);
  capture.port.postMessage({record: {from: 0}});
  const how = {bpm, first: 0, last: score.bars.length - 1, times: 1, countBars: 0,
    countEach: false, unit: 1, click: {beats: [], every: 1, sound: 1, silent: 0}, swing: 0.5,
    ramp: {every: 0, to: 0}, voice: "blown", drone: [], tonic: 0, tuning: "equal",
    levels: {tune: 1, click: 0, drone: 0, bass: 0, chords: 0}};
  const cursor = new Cursor(document.getElementById("sheet"));
  await player.play(score, how);
  follow(player, cursor);
  const seen = [];
  const offsets = [];
  const frames = [];
  let shown = "";
  let lit = null;
  let last = 0;
  let litGap = 0;
  await new Promise((done) => {
    const step = (at) => {
      const gap = last ? at - last : 0;
      if (last) frames.push(gap);
      last = at;
      if (lit !== null) seen.push([at, lit, Math.max(gap, litGap)]);
      lit = null;
      litGap = gap;
      if (cursor.shown && cursor.shown !== shown) lit = cursor.shown;
      shown = cursor.shown;
      const {contextTime, performanceTime} = context.getOutputTimestamp();
      offsets.push(performanceTime - contextTime * 1000);
      if (player.playing) requestAnimationFrame(step);
      else done();
    };
    requestAnimationFrame(step);
  });
  await new Promise((done) => setTimeout(done, 300));
  await context.close();
  const onsets = [];
  let silence = Infinity;
  let expected = null;
  let lost = 0;
  for (const {frame, samples} of batches) {
    if (expected !== null) lost += frame - expected;
    expected = frame + samples.length;
    samples.forEach((x, i) => {
      if (Math.abs(x) < 2e-5) return;
      if (frame + i - silence > 0.04 * context.sampleRate || silence === Infinity)
        onsets.push(frame + i);
      silence = frame + i;
    });
  }
  return {seen, onsets, offsets, frames, lost, rate: context.sampleRate};
}"""
MEDIA = """async ({from, to, speed, seconds}) => {
  const file = document.getElementById("file").files[0];
  const context = new AudioContext({sampleRate: 44100});
  await context.resume();
  await context.audioWorklet.addModule("/static/session/audio/capture-worklet.js");
  const audio = new Audio(URL.createObjectURL(file));
  await new Promise((done) => (audio.oncanplaythrough = done));
  audio.playbackRate = speed;
  const capture = new AudioWorkletNode(context, "coldtake-capture", {numberOfOutputs: 0});
  const batches = [];
  capture.port.onmessage = ({data}) => data.samples && batches.push(data.samples);
  context.createMediaElementSource(audio).connect(capture);
  capture.port.postMessage({record: {from: 0}});
  audio.currentTime = from;
  await audio.play();
  const end = performance.now() + seconds * 1000;
  await new Promise((done) => {
    const step = () => {
      if (to > from && audio.currentTime >= to) audio.currentTime = from;
      if (performance.now() > end) done();
      else requestAnimationFrame(step);
    };
    step();
  });
  audio.pause();
  await new Promise((done) => setTimeout(done, 200));
  await context.close();
  return batches.flatMap((samples) => Array.from(samples));
}"""
OURS = """async ({from, to, speed}) => {
  const {Slow} = await import("/static/sound/slow.js");
  const slow = new Slow(new Audio());
  slow.file = document.getElementById("file").files[0];
  slow.speed = speed;
  const before = performance.now();
  const buffer = await slow.stretched({from, to});
  const ms = performance.now() - before;
  return {samples: Array.from(buffer.getChannelData(0)), rate: buffer.sampleRate, ms};
}"""


def say(*words: object) -> None:
    print(*words, flush=True)


@contextmanager
def house() -> Iterator[tuple[str, Any]]:
    """A server over an empty folder, and its services."""
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    with tempfile.TemporaryDirectory() as folder:
        services = open_services(Path(folder))
        config = uvicorn.Config(create_app(services), port=port, log_level="warning")
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.05)
        yield f"http://127.0.0.1:{port}", services
        server.should_exit = True
        thread.join()
        services.close()


def sync(page: Page, url: str, services: Any) -> None:
    """Errors of the lit noteheads against the sound, in milliseconds."""
    passage = services.pile.keep_passage(LINE.encode(), "line.abc").id
    page.goto(f"{url}/passages/{passage}")
    page.wait_for_function("() => document.body.dataset.ready === 'yes'")
    told = page.evaluate(LIVE, {"bpm": 132})
    offset_ms = statistics.median(told["offsets"])
    sound_ms = np.array(told["onsets"]) / told["rate"] * 1000 + offset_ms
    seen_ms = np.array([at for at, _, _ in told["seen"]])
    frames = np.array(told["frames"])
    say(f"notes sounded {sound_ms.size}, noteheads lit {seen_ms.size}, samples lost {told['lost']}")
    say(f"page frames: median {np.median(frames):.1f} ms, longest {frames.max():.1f} ms")
    off = np.array([at - sound_ms[np.argmin(np.abs(sound_ms - at))] for at in seen_ms])
    report("all notes", off)
    # a note lit in a frame that the browser began late was waiting for the machine, not for us
    gaps = np.array([gap for _, _, gap in told["seen"]])
    report("notes lit in frames on time", off[gaps < LATE_FRAME_MS])


def report(name: str, off_ms: np.ndarray) -> None:
    """Say median and worst of some errors, in milliseconds."""
    worst = off_ms[np.argmax(np.abs(off_ms))]
    say(
        f"{name} ({off_ms.size}): median {np.median(off_ms):+.1f} ms, median size "
        f"{np.median(np.abs(off_ms)):.1f} ms, worst {worst:+.1f} ms, "
        f"within 20 ms {np.mean(np.abs(off_ms) <= 20):.0%}"
    )


def weight(page: Page, url: str, services: Any) -> None:
    """Bytes that the page to hear 24 bars brings, by kind."""
    passage = services.pile.keep_passage(LINE.encode(), "line.abc").id
    found: dict[str, list[int]] = {}

    def count(response: Any) -> None:
        kind = response.request.resource_type
        size = len(response.body()) if response.ok else 0
        found.setdefault(kind if "/passages/" not in response.url else "music", []).append(size)

    page.on("response", count)
    page.goto(f"{url}/passages/{passage}")
    page.wait_for_function("() => document.body.dataset.ready === 'yes'")
    page.locator("#play").click()
    page.wait_for_timeout(1000)
    page.remove_listener("response", count)
    for kind, sizes in sorted(found.items()):
        say(f"{kind}: {len(sizes)} files, {sum(sizes) / 1000:.1f} kB")
    say(f"all: {sum(map(sum, found.values())) / 1000:.1f} kB, nothing of it compressed")


def best_of(runs: int, work: Callable[[], object]) -> float:
    """Median time [s] after one run to warm up."""
    work()
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def times(page: Page, url: str, services: Any) -> None:
    """Pattern to drawn page, and paper, against verovio's bare engraving of the same music."""
    from coldtake.music.notation import verovio_client
    from coldtake.music.notation.engraving.engraver import engrave
    from coldtake.music.notation.reading.reader import read_passage
    from coldtake.web.printing.pdf import as_pdf
    from coldtake.web.printing.sheets import exercise_sheet, plan_sheet

    passage = read_passage(LINE, "abc")
    bare_s = best_of(
        9, lambda: verovio_client.to_svg(passage.mei, {"scale": 40, "pageWidth": 2250})
    )
    say(f"verovio alone, 24 bars: {1000 * bare_s:.0f} ms (the reference of the ratios)")

    def drawn() -> None:
        from coldtake.music.notation.engraving import engraver

        engraver._plain_svg.cache_clear()
        engrave(read_passage(LINE, "abc"))

    drawn_s = best_of(9, drawn)
    say(f"text to notes to SVG: {1000 * drawn_s:.0f} ms, {drawn_s / bare_s:.1f} times that")
    kept = services.pile.keep_passage(LINE.encode(), "line.abc")

    def opened() -> None:
        page.goto(f"{url}/passages/{kept.id}")
        page.wait_for_function("() => document.body.dataset.ready === 'yes'")

    page_s = best_of(5, opened)
    say(f"page asked for to drawn and ready: {1000 * page_s:.0f} ms, {page_s / bare_s:.0f} times")
    topic = services.pile.add("Paper", place=Place.CURRENT)
    exercise = Exercise(passage=PassageRef(passage_id=kept.id), tempo_bpm=108)
    steps = [
        services.pile.keep_step(
            Step(
                id=services.log.new_id(),
                topic_id=topic.id,
                title=f"Line {n}",
                criterion=default_criterion(),
                exercise=exercise,
            )
        )
        for n in range(10)
    ]
    pdf_s = best_of(3, lambda: as_pdf(exercise_sheet(services, steps, "A4"), "A4"))
    say(f"PDF of ten exercises of 24 bars: {1000 * pdf_s:.0f} ms, {pdf_s / bare_s / 10:.1f} each")
    day = services.today()
    plan = services.plans.propose(services.plans.default_request(day))
    plan_s = best_of(3, lambda: as_pdf(plan_sheet(services, plan, "A4"), "A4"))
    say(f"PDF of the day's plan: {1000 * plan_s:.0f} ms")


def beats_file() -> bytes:
    """Short bursts every quarter second over a quiet tone of 440 Hz, eight seconds."""
    time_s = np.arange(8 * RATE) / RATE
    sound = 0.02 * np.sin(2 * np.pi * 440 * time_s)
    for k in range(32):
        n = np.arange(700)
        burst = 0.7 * np.sin(2 * np.pi * 1500 * n / RATE) * np.exp(-n / 150)
        sound[k * RATE // 4 : k * RATE // 4 + 700] += burst
    out = io.BytesIO()
    soundfile.write(out, sound, RATE, format="WAV")
    return out.getvalue()


def gaps_ms(sound: np.ndarray, rate: float, speed: float) -> np.ndarray:
    """From burst to burst, in milliseconds of the recording."""
    loud = np.nonzero(np.abs(sound) > 0.15)[0]
    starts = loud[np.diff(loud, prepend=-rate) > 0.1 * rate]
    return np.diff(starts) / rate * 1000 * speed


def slow(page: Page, url: str, _services: Any) -> None:
    """A loop of exactly a second, again and again: the browser's own seek, and ours."""
    page.goto(f"{url}/slow")
    wav = {"name": "beats.wav", "mimeType": "audio/wav", "buffer": beats_file()}
    page.locator("#file").set_input_files(wav)
    for speed in (0.4, 0.6, 0.8, 1.2):
        ask = {"from": 0.9, "to": 1.9, "speed": speed}
        theirs = np.array(page.evaluate(MEDIA, {**ask, "seconds": 8}))
        off = gaps_ms(theirs, RATE, speed) - 250
        ours = page.evaluate(OURS, ask)
        twice = np.tile(ours["samples"], 4)
        own = gaps_ms(twice, ours["rate"], speed) - 250
        say(
            f"speed {speed:.0%}: browser's seek {np.abs(off).max():.0f} ms off at worst; "
            f"stretched once {np.abs(own).max():.0f} ms, made in {ours['ms']:.0f} ms"
        )


PARTS = {"sync": sync, "weight": weight, "times": times, "slow": slow}


def main() -> None:
    """Run the parts that are named, or all."""
    wanted = [PARTS[name] for name in sys.argv[1:]] or list(PARTS.values())
    with house() as (url, services), sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=list(ARGS))
        for part in wanted:
            page = browser.new_context(viewport={"width": 1366, "height": 900}).new_page()
            say(f"\n{part.__name__}")
            part(page, url, services)
            page.context.close()
        browser.close()


if __name__ == "__main__":
    main()
