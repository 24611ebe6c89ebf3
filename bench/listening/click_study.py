"""The page's own click in recordings: found, timed, taken out; what it costs the verdict.

    python bench/listening/click_study.py [--takes 3] [--write]

Takes of five General MIDI instruments (FluidR3_GM), faultless and with one wrong note on a click,
played to a click that is mixed in by a loudspeaker's delay of 70 to 200 ms: plain, or through a
small loudspeaker (nothing below 300 Hz) into a room (0.4 s). "Before" judges the same sound without
a word of the click, "after" with the page's record of when its clicks were made.
"""

import argparse
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.signal import butter, fftconvolve, sosfilt

sys.path.insert(0, str(Path(__file__).parents[2] / "src"))
from band import INSTRUMENTS, RATE, Played, synth
from passages import invented

from coldtake.domain.criterion import Criterion, NotesTest
from coldtake.domain.take import Answer, ClickTrack, NoteStatus
from coldtake.listening.features.click_track import click_sound, find_clicks
from coldtake.listening.judging_request import JudgingRequest
from coldtake.listening.melody.judge import judge
from coldtake.listening.sources.sound import Sound

BAND = ("clarinet", "trumpet", "violin", "piano", "flute")
NOTES = Criterion(tests=(NotesTest(),))
FIRST_SEED = 70_000
RESULTS = Path(__file__).with_name("CLICK_RESULTS.md")


def played(passage, lead_s: float, bpm: float, rng) -> list[Played]:
    beat = 60.0 / bpm
    off = rng.normal(0.0, 0.010, len(passage.notes))
    return [
        Played(
            lead_s + n.onset_beats * beat + off[k],
            lead_s + (n.onset_beats + 0.85 * n.duration_beats) * beat + off[k],
            n.pitch,
            int(rng.integers(75, 105)),
        )
        for k, n in enumerate(passage.notes)
    ]


def on_click(passage) -> int:
    """A note in the middle that falls on a click."""
    at = [k for k, n in enumerate(passage.notes) if abs(n.onset_beats % 1.0) < 1e-6]
    return at[len(at) // 2]


def clicks(track: ClickTrack, delay_s: float, length: int, step: tuple[float, float] | None = None):
    """The clicks as a perfect loudspeaker gives them; `step`: from when on how much later."""
    out = np.zeros(length + RATE)
    for k in range(10_000):
        made = track.first_s + k * track.every_s
        later = step[1] if step is not None and made >= step[0] else 0.0
        at = round((made + delay_s + later) * RATE)
        if at >= length:
            return out[:length]
        if at >= 0:
            one = click_sound(RATE, accented=(k - track.accent) % track.per_bar == 0)
            out[at : at + len(one)] += one
    return out[:length]


def in_room(sound: np.ndarray, rng) -> np.ndarray:
    small = sosfilt(butter(2, 300, "highpass", fs=RATE, output="sos"), sound)
    n = int(0.5 * RATE)
    tail = rng.normal(size=n) * 10 ** (-3.0 * np.arange(n) / RATE / 0.4)
    tail[: int(0.003 * RATE)] = 0.0
    tail *= 10 ** (-3 / 20) / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    return np.asarray(fftconvolve(small, tail)[: len(sound)])


def take_of(name: str, seed: int, *, wrong: bool):
    rng = np.random.default_rng(seed)
    instrument = INSTRUMENTS[name]
    low = max(instrument.low, 48)
    passage = invented(seed, low, min(instrument.high, low + 24))
    bpm = float(rng.uniform(66, 120))
    delay = float(rng.uniform(0.07, 0.2))
    notes = played(passage, 0.5, bpm, rng)
    if wrong:
        k = on_click(passage)
        notes[k] = replace(notes[k], key=notes[k].key + int(rng.choice([-2, -1, 1, 2])))
    sound = synth("fluid").render(instrument.program, notes)
    every = 60.0 / bpm
    made = 0.5 - delay - 4 * every  # the player plays to what is heard
    track = ClickTrack(first_s=made, every_s=every, music_s=0.5 - delay, per_bar=4)
    return passage, sound, track, delay, rng


def faults_of(verdict) -> tuple[int, int]:
    """Extras, and written notes that are accused."""
    extras = sum(n.status is NoteStatus.EXTRA for n in verdict.notes)
    bad = [n for n in verdict.notes if n.status in (NoteStatus.WRONG, NoteStatus.MISSED)]
    return extras, len(bad)


def one_level(args, level, room: bool) -> list[str]:
    found, errors, before, after = 0, [], [], []
    told, takes, stepped_found = {"marked": 0, "open": 0, "hidden": 0}, 0, 0
    for name in BAND:
        for seed in range(FIRST_SEED, FIRST_SEED + args.takes):
            passage, sound, track, delay, rng = take_of(name, seed, wrong=False)
            takes += 1
            mixed, stepped = sound, None
            if level is not None:
                mixed = mixed_with(sound, track, delay, level, room, rng)
                step = (0.5 * len(sound) / RATE, 0.022)
                stepped = mixed_with(sound, track, delay, level, room, rng, step)
            heard = find_clicks(as_sound(mixed), track)
            found += heard is not None
            if heard is not None and level is not None:
                errors += [abs(heard.delay_start_s - delay), abs(heard.delay_end_s - delay)]
            if stepped is not None:
                two = find_clicks(as_sound(stepped), track)
                stepped_found += two is None or not two.steady
            before.append(faults_of(judge(as_sound(mixed), JudgingRequest(passage, NOTES))))
            after.append(
                faults_of(judge(as_sound(mixed), JudgingRequest(passage, NOTES, click=track)))
            )
            told[wrong_told(name, seed, level, room)] += 1
    late = np.array(errors) * 1e3
    timing = "-" if not len(late) else f"{np.median(late):.2f} / {np.percentile(late, 95):.2f}"
    label = "no click" if level is None else f"{level:g} dB{', room' if room else ''}"
    stepped_words = "-" if level is None else f"{stepped_found} of {takes}"
    totals = [" + ".join(str(int(v)) for v in np.sum(x, axis=0)) for x in (before, after)]
    wrong = " / ".join(str(told[k]) for k in ("marked", "open", "hidden"))
    return [label, f"{found} of {takes}", timing, stepped_words, *totals, wrong]


def as_sound(samples: np.ndarray) -> Sound:
    return Sound(samples.astype(np.float32), RATE)


def mixed_with(sound, track, delay, level, room, rng, step=None) -> np.ndarray:
    laid = clicks(track, delay, len(sound), step)
    gain = np.abs(sound).max() * 10 ** (level / 20)
    return sound + gain * (in_room(laid, rng) if room else laid)


def wrong_told(name: str, seed: int, level: float | None, room: bool) -> str:
    """What became of one wrong note on a click."""
    passage, sound, track, delay, rng = take_of(name, seed, wrong=True)
    mixed = sound if level is None else mixed_with(sound, track, delay, level, room, rng)
    verdict = judge(as_sound(mixed), JudgingRequest(passage, NOTES, click=track))
    marked = {n.id for n in verdict.notes if n.status is NoteStatus.WRONG}
    if passage.notes[on_click(passage)].id in marked and verdict.answer is Answer.NO:
        return "marked"
    return "hidden" if verdict.answer is Answer.YES else "open"


HEAD = (
    "click", "found", "delay error ms, median / 95 %", "step of 22 ms not taken for one delay",
    "false extras + accusations: before", "after", "wrong note marked / cannot tell / hidden",
)  # fmt: skip
CONDITIONS = ((None, False), (-10.0, False), (-20.0, False), (-30.0, False), (-20.0, True))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--takes", type=int, default=3)
    parser.add_argument("--write", action="store_true")
    args = parser.parse_args()
    rows = [list(HEAD), ["---"] * len(HEAD)]
    for level, room in CONDITIONS:
        rows.append(one_level(args, level, room))
        print("| " + " | ".join(rows[-1]) + " |", flush=True)
    if args.write:
        table = "\n".join("| " + " | ".join(r) + " |" for r in rows)
        command = f"    python bench/listening/click_study.py --takes {args.takes} --write"
        RESULTS.write_text(
            f"# The click in a recording: figures\n\n{command}\n\nInstruments: {', '.join(BAND)} of"
            f" FluidR3_GM, seeds from {FIRST_SEED}; {args.takes} takes each, and as many with one"
            f" wrong note on a click.\n\n{table}\n",
            encoding="utf-8",
        )


if __name__ == "__main__":
    main()
