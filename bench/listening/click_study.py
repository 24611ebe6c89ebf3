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
from coldtake.listening.click_track import click_sound, find_clicks
from coldtake.listening.judge import judge
from coldtake.listening.sound import Sound

BAND = ("clarinet", "trumpet", "violin", "piano", "flute")
LEVELS_DB = (None, -10.0, -20.0, -30.0)
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
    found, errors, before, after, bare = 0, [], [], [], []
    wrong_bare, wrong_after, takes, stepped_found = 0, 0, 0, 0
    for name in BAND:
        for seed in range(FIRST_SEED, FIRST_SEED + args.takes):
            passage, sound, track, delay, rng = take_of(name, seed, wrong=False)
            takes += 1
            mixed, stepped = sound, None
            if level is not None:
                gain = np.abs(sound).max() * 10 ** (level / 20)
                laid = clicks(track, delay, len(sound))
                later = clicks(track, delay, len(sound), (0.5 * len(sound) / RATE, 0.022))
                if room:
                    laid, later = in_room(laid, rng), in_room(later, rng)
                mixed, stepped = sound + gain * laid, sound + gain * later
            heard = find_clicks(Sound(mixed.astype(np.float32), RATE), track)
            found += heard is not None
            if heard is not None and level is not None:
                errors += [abs(heard.delay_start_s - delay), abs(heard.delay_end_s - delay)]
            if stepped is not None:
                two = find_clicks(Sound(stepped.astype(np.float32), RATE), track)
                stepped_found += two is not None and not two.steady
            verdicts = [
                judge(Sound(x.astype(np.float32), RATE), passage, NOTES, click=c)
                for x, c in ((sound, None), (mixed, None), (mixed, track))
            ]
            for store, verdict in zip((bare, before, after), verdicts, strict=True):
                store.append(faults_of(verdict))
            passage, sound, track, delay, rng = take_of(name, seed, wrong=True)
            mixed = sound
            if level is not None:
                laid = clicks(track, delay, len(sound))
                mixed = sound + np.abs(sound).max() * 10 ** (level / 20) * (
                    in_room(laid, rng) if room else laid
                )
            wanted = passage.notes[on_click(passage)].id
            for k, (x, c) in enumerate(((sound, None), (mixed, track))):
                verdict = judge(Sound(x.astype(np.float32), RATE), passage, NOTES, click=c)
                marked = {n.id for n in verdict.notes if n.status is NoteStatus.WRONG}
                caught = wanted in marked and verdict.answer is Answer.NO
                wrong_bare += caught and k == 0
                wrong_after += caught and k == 1
    late = np.array(errors) * 1e3
    timing = "-" if not len(late) else f"{np.median(late):.2f} / {np.percentile(late, 95):.2f}"
    label = "no click" if level is None else f"{level:g} dB{', room' if room else ''}"
    stepped_words = "-" if level is None else f"{stepped_found} of {takes}"
    totals = [" + ".join(str(int(v)) for v in np.sum(x, axis=0)) for x in (bare, before, after)]
    caught = (f"{wrong_bare} of {takes}", f"{wrong_after} of {takes}")
    return [label, f"{found} of {takes}", timing, stepped_words, *totals, *caught]


HEAD = (
    "click", "found", "delay error ms, median / 95 %", "step of 22 ms told",
    "false extras + accusations: no click", "before", "after",
    "wrong note found: no click", "after",
)  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--takes", type=int, default=3)
    parser.add_argument("--write", action="store_true")
    args = parser.parse_args()
    rows = [list(HEAD), ["---"] * len(HEAD)]
    for level, room in ((None, False), *((x, r) for r in (False, True) for x in LEVELS_DB[1:])):
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
