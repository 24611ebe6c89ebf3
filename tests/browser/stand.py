"""What the tests of the session page share: a plan for today, a player at the stand, a microphone.

The microphone is a WAV that Chromium plays from the moment the page opens it: a clarinet from a
General MIDI bank (FluidSynth), with each performance at a known second.
"""

import base64
import contextlib
import shutil
import struct
import subprocess
import time as time_now
from collections.abc import Sequence
from datetime import datetime, time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile as sf
from playwright.sync_api import Page

from coldtake.domain import events as ev
from coldtake.domain.criterion import Criterion, NotesTest, OwnQuestionTest, Times
from coldtake.domain.criterion_words import question
from coldtake.domain.ids import named_id
from coldtake.domain.plan import Period, Plan, PlanRequest, PlanRules, Slot, SlotKind
from coldtake.domain.topic import Exercise, PassageRef, Place, Step
from conftest import PATIENCE_S

ABC = "X:1\nT:Air\nM:4/4\nL:1/4\nQ:1/4=96\nK:C\nCDEF|GFED|C4|]\n"
AIR = ((60, 1), (62, 1), (64, 1), (65, 1), (67, 1), (65, 1), (64, 1), (62, 1), (60, 4))
BPM = 96
RATE = 44_100  # of Chromium's fake microphone
CLARINET = 71  # General MIDI program, counted from 0
BANKS = (Path("/usr/share/sounds/sf2/FluidR3_GM.sf2"), Path("/usr/share/sounds/sf2/TimGM6mb.sf2"))
TICKS = 480  # a quarter
TURN_MS = 450  # a pedal pressed sooner after the page has turned to a question answers nothing

ONE_NOTE = Criterion(tests=(NotesTest(),))
OWN = Criterion(tests=(OwnQuestionTest(question="Was it loose"),))


def laid_out(services: Any, *, times: int = 3) -> dict[str, Step]:
    """Two topics; `air` has notation and can be heard, `row` wants k in a row, `own` is asked."""
    topics = [services.pile.add(t, place=Place.CURRENT) for t in ("Air in C", "Loose hands")]
    stored = services.pile.keep_passage(ABC.encode(), "air.abc")
    # clean already at its tempo: else work begins slower, and so does the click
    heard = Exercise(passage=PassageRef(passage_id=stored.id), tempo_bpm=BPM, clean_bpm=BPM)
    rows = {
        "air": (topics[0], "Bars 1 to 3", ONE_NOTE, heard),
        "row": (
            topics[0],
            "Again",
            Criterion(tests=(NotesTest(),), times=Times(wanted=times)),
            heard,
        ),
        "own": (topics[1], "Slow bows", OWN, Exercise()),
        "spare": (topics[1], "Shifts", OWN, Exercise()),
    }
    return {
        key: services.pile.keep_step(
            Step(
                id=named_id("step", key),
                topic_id=topic.id,
                title=title,
                criterion=criterion,
                exercise=exercise,
            )
        )
        for key, (topic, title, criterion, exercise) in rows.items()
    }


def slot(step: Step, minutes: int, *, cold: bool = False) -> Slot:
    kind = SlotKind.COLD if cold else SlotKind.WORK
    return Slot(
        id=named_id("slot", step.id, kind, str(minutes)),
        step_id=step.id,
        topic_id=step.topic_id,
        kind=kind,
        minutes=minutes,
        question=question(step.criterion),
        goal="Once clean.",
        reason="",
    )


def plan_today(services: Any, *periods: Sequence[Slot], spare: Sequence[Slot] = ()) -> Plan:
    """Keep a plan for today that begins now."""
    now = datetime.now()
    request = PlanRequest(day=services.today(), starts_at=time(now.hour, now.minute), minutes=60)
    plan = Plan(
        id=named_id("plan", now.isoformat()),
        request=request,
        rules=PlanRules(),
        periods=tuple(Period(slots=tuple(p)) for p in periods),
        spare=tuple(spare),
    )
    services.append(ev.PlanKept(plan=plan))
    return plan


class Stand:
    """A player at the session page, who has keys and eyes only."""

    def __init__(self, page: Page, url: str) -> None:
        self.page = page
        self.url = url
        page.set_default_timeout(1000 * PATIENCE_S)

    def open(self) -> "Stand":
        self.page.goto(f"{self.url}/session")
        self.page.wait_for_function("() => document.body?.dataset.ready === 'yes'")
        return self

    def press(self, *keys: str) -> "Stand":
        for key in keys:
            self.page.keyboard.press(key)
            self.settle()
        return self

    def settle(self) -> None:
        """Wait until the last key has been handled and drawn."""
        self.page.evaluate("() => new Promise((done) => setTimeout(done, 120))")

    def sees(self, screen: str, slot: str = "") -> "Stand":
        """Wait for a scene, and for a slot by the words of its title."""
        self.page.wait_for_function(
            "([screen, words]) => document.body?.dataset.screen === screen &&"
            " (!words || document.querySelector('#slot-title').textContent.includes(words))",
            arg=[screen, slot],
        )
        return self

    def begin(self) -> "Stand":
        """From the start to the first slot: no intention, no quiet moment."""
        self.sees("start").press("Space").sees("intention").press("Enter")
        return self.sees("quiet").press("PageDown").sees("slot")

    def told(self) -> str:
        return self.page.inner_text("#told-word") if self.page.is_visible("#told") else ""

    def waits_for(self, *words: str) -> str:
        """Wait until the page tells one of these in large."""
        self.page.wait_for_function(
            "(words) => !document.querySelector('#told').hidden &&"
            " words.includes(document.querySelector('#told-word').textContent)",
            arg=list(words),
        )
        self.page.wait_for_timeout(TURN_MS)
        return self.told()

    def unsent(self) -> int:
        return self.page.evaluate(UNSENT)

    def sent(self) -> "Stand":
        """Wait until the server has acknowledged everything, not for the outbox's next try."""
        end = time_now.monotonic() + PATIENCE_S
        while self.unsent():
            self.online()
            assert time_now.monotonic() < end, "events wait although the server is there"
            time_now.sleep(0.1)
        return self

    def online(self) -> None:
        """Tell the outbox what the browser tells when the network has come back."""
        for worker in self.page.workers:
            if "outbox" in worker.url:
                worker.evaluate("() => dispatchEvent(new Event('online'))")

    def kept_ids(self) -> set[str]:
        return set(self.page.evaluate(KEPT))

    def forward(self, seconds: float) -> "Stand":
        self.page.clock.fast_forward(round(seconds * 1000))
        self.settle()
        return self


def show_more(page: Page) -> None:
    """Show the second row of tools of a slot, where it is folded."""
    if page.locator("#more").is_visible() and page.inner_text("#more") == "More":
        page.click("#more")


_DB = """
  const open = indexedDB.open("coldtake-session");
  const db = await new Promise((done) => (open.onsuccess = () => done(open.result)));
  const get = (store) => new Promise((done) => {
    const all = db.transaction(store).objectStore(store).getAll();
    all.onsuccess = () => done(all.result);
  });
"""
UNSENT = f"""async () => {{ {_DB}
  const events = (await get("events")).filter((e) => e.waiting === 1).length;
  const takes = (await get("takes")).filter((t) => t.status === "ready").length;
  db.close();
  return events + takes;
}}"""
KEPT = f"""async () => {{ {_DB}
  const ids = (await get("events")).map((e) => e.id);
  db.close();
  return ids;
}}"""


# A player who enters after the count-in, by the page's own audio clock: what is played goes in
# where the microphone's stream would, so that no second of the machine's is missed.
ENTERS = """(() => {
  const post = MessagePort.prototype.postMessage;
  let microphone = null, next = null;
  AudioContext.prototype.createMediaStreamSource = function () {
    const room = this.createBuffer(1, this.sampleRate, this.sampleRate);
    room.getChannelData(0).forEach((_, i, all) => (all[i] = 4e-4 * (Math.random() - 0.5)));
    microphone = new GainNode(this);
    const noise = new AudioBufferSourceNode(this, { buffer: room, loop: true });
    noise.connect(microphone);
    noise.start();
    return microphone;
  };
  window.enterNext = (coded, rate, beats) => {
    const bytes = Uint8Array.from(atob(coded), (c) => c.charCodeAt(0));
    next = { sound: new Float32Array(bytes.buffer), rate, beats };
  };
  MessagePort.prototype.postMessage = function (data, ...more) {
    if (data?.plan && next && microphone) {
      const { sound, rate, beats } = next;
      const context = microphone.context;
      const buffer = context.createBuffer(1, sound.length, rate);
      buffer.copyToChannel(sound, 0);
      const source = new AudioBufferSourceNode(context, { buffer });
      source.connect(microphone);
      const frame = data.plan.f0 + beats * data.plan.samplesPerBeat;
      source.start(frame / context.sampleRate + 0.1);
      next = null;
    }
    return post.call(this, data, ...more);
  };
})()"""


def enters(page: Page, sound: np.ndarray, beats: int = 4) -> None:
    """Play mono samples after so many beats of the next count-in; needs the script `ENTERS`."""
    coded = base64.b64encode(sound.astype("<f4").tobytes()).decode()
    page.evaluate("(asked) => window.enterNext(...asked)", [coded, RATE, beats])


def midi_file(notes: Sequence[tuple[int, float]], bpm: float = BPM) -> bytes:
    """Build a Standard MIDI File, format 0: one instrument, one line, a little detached."""
    track = b"\x00\xff\x51\x03" + struct.pack(">I", round(60e6 / bpm))[1:]
    track += bytes((0, 0xC0, CLARINET))
    for pitch, beats in notes:
        sounding = round(beats * TICKS * 0.92)
        track += bytes((0, 0x90, pitch, 88)) + _length(sounding) + bytes((0x80, pitch, 0))
        silent = round(beats * TICKS) - sounding
        track += _length(silent) + bytes((0xB0, 7, 100))
    track += b"\x00\xff\x2f\x00"
    head = b"MThd" + struct.pack(">IHHH", 6, 0, 1, TICKS)
    return head + b"MTrk" + struct.pack(">I", len(track)) + track


def _length(ticks: int) -> bytes:
    """Write a variable-length quantity."""
    out = [ticks & 0x7F]
    while ticks := ticks >> 7:
        out.insert(0, (ticks & 0x7F) | 0x80)
    return bytes(out)


def clarinet(notes: Sequence[tuple[int, float]], folder: Path, bpm: float = BPM) -> np.ndarray:
    """Play notes on the bank's clarinet, mono, peak 0.5."""
    bank = next((b for b in BANKS if b.exists()), None)
    if bank is None or shutil.which("fluidsynth") is None:
        pytest.fail("FluidSynth and a General MIDI bank are needed: see tests/setup.sh")
    source, target = folder / "line.mid", folder / "line.wav"
    source.write_bytes(midi_file(notes, bpm))
    command = ["fluidsynth", "-ni", "-R", "0", "-C", "0", "-g", "0.8", "-r", str(RATE)]
    with contextlib.suppress(FileNotFoundError):
        target.unlink()
    subprocess.run(
        [*command, "-F", str(target), str(bank), str(source)], check=True, capture_output=True
    )
    sound, _ = sf.read(target, always_2d=True)
    line = sound.mean(axis=1)
    return (0.5 * line / np.abs(line).max()).astype(np.float32)


def microphone_file(
    folder: Path, performances: Sequence[tuple[float, Sequence[tuple[int, float]]]], length_s: float
) -> Path:
    """Write the room: faint noise, and each performance from its second on."""
    room = 2e-4 * np.random.default_rng(7).standard_normal(round(length_s * RATE))
    for at_s, notes in performances:
        line = clarinet(notes, folder)
        start = round(at_s * RATE)
        room[start : start + len(line)] += line
    path = folder / "microphone.wav"
    sf.write(path, room, RATE, subtype="PCM_16")
    return path
