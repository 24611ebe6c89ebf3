"""How well a take is compared with another take of the same line, without notation.

    PYTHONPATH=src python bench/listening/reference.py --set tune
    PYTHONPATH=src python bench/listening/reference.py --set report --lines 5

Lines of about 6 s are invented from a seed (`passages.invented`, cut), played once as the reference
and again with another tempo (within 10 %), jitter of 10 ms, other loudness and, in every third
take, noise 30 dB below. "Equal" takes have no fault; each other take has one: a wrong note (one to
four semitones off), a missed note (its place silent, or the note before held over it), an added
note (struck between two), going back by two notes, or a stop (1.2 s). Criterion: every note right,
no stop of a beat. Constants were chosen on TimGM6mb with TUNE's instruments. Looks at SEEN, in the
bank FluidR3_GM, led to rules of going back, stops, missed notes and several sounds; REPORT's
instruments, in that bank too, were used for nothing in the listener.
"""

import argparse
from collections import Counter

import numpy as np
from band import RATE, Instrument, Played, synth
from conditions import pink
from passages import invented

from coldtake.domain.criterion import Criterion, NoStopsTest, NotesTest
from coldtake.listening.judging_request import JudgingRequest, ReferenceTake
from coldtake.listening.reference.judging import judge_against
from coldtake.listening.sources.sound import Sound
from coldtake.music.passage import Passage

TUNE = (
    Instrument("piano", 0, 48, 84, "struck"),
    Instrument("guitar", 24, 45, 76, "plucked"),
    Instrument("trumpet", 56, 55, 80, "brass"),
    Instrument("violin", 40, 57, 88, "bowed"),
    Instrument("clarinet", 71, 52, 84, "reed"),
    Instrument("flute", 73, 62, 88, "flute"),
)
SEEN = (
    Instrument("vibraphone", 11, 53, 84, "struck"),
    Instrument("banjo", 105, 50, 79, "plucked"),
    Instrument("harmonica", 22, 60, 84, "reed"),
    Instrument("soprano sax", 64, 57, 84, "sax"),
    Instrument("viola", 41, 50, 79, "bowed"),
    Instrument("recorder", 74, 62, 86, "flute"),
    Instrument("english horn", 69, 54, 79, "reed"),
    Instrument("tuba", 58, 38, 60, "brass"),
    Instrument("xylophone", 13, 65, 96, "struck"),
    Instrument("contrabass", 43, 31, 55, "bowed"),
    Instrument("fiddle", 110, 57, 83, "bowed"),
    Instrument("tenor sax", 66, 46, 75, "sax"),
    Instrument("muted trumpet", 59, 55, 80, "brass"),
    Instrument("pan flute", 75, 62, 86, "flute"),
    Instrument("accordion", 21, 55, 84, "reed"),
    Instrument("steel guitar", 25, 45, 76, "plucked"),
)
REPORT = (
    Instrument("celesta", 8, 60, 96, "struck"),
    Instrument("jazz guitar", 26, 45, 76, "plucked"),
    Instrument("harp", 46, 45, 84, "plucked"),
    Instrument("baritone sax", 67, 36, 66, "sax"),
    Instrument("shakuhachi", 77, 58, 84, "flute"),
    Instrument("ocarina", 79, 60, 86, "flute"),
    Instrument("shamisen", 106, 50, 79, "plucked"),
    Instrument("shanai", 111, 58, 82, "reed"),
)
SETS = {
    "tune": ("timgm", TUNE, 300),
    "seen": ("fluid", SEEN, 93_000),
    "report": ("fluid", REPORT, 99_000),
}
FAULTS = ("equal", "equal", "wrong", "missed", "held over", "added", "restart", "stop")
CRITERION = Criterion(tests=(NotesTest(), NoStopsTest()))
LENGTH_S, STOP_S, LEAD_S = 6.0, 1.2, 0.5
EMPTY = Passage("", (), (), (), "")


def line_of(seed: int, instrument: Instrument) -> list[tuple[float, float, int]]:
    """(onset, length [s], pitch) of a line of about 6 s."""
    passage = invented(seed, instrument.low, instrument.high)
    beat_s = 60.0 / (passage.written_bpm or 100.0)
    rows = [(n.onset_beats * beat_s, n.duration_beats * beat_s, n.pitch) for n in passage.notes]
    return [r for r in rows if r[0] < LENGTH_S]


def played(
    line: list[tuple[float, float, int]], fault: str, rng: np.random.Generator, tempo: float
) -> tuple[list[Played], int]:
    """Keys of one take with at most one fault, and the note that has it."""
    rows = [[at / tempo, length / tempo * 0.92, pitch] for at, length, pitch in line]
    rows = [[at + rng.normal(0, 0.01), length, pitch] for at, length, pitch in rows]
    loud = int(rng.integers(70, 100))
    where = int(rng.integers(2, len(rows) - 2))
    if fault == "wrong":
        rows[where][2] += int(rng.choice([-4, -3, -2, -1, 1, 2, 3, 4]))
    elif fault in ("missed", "held over"):
        if fault == "held over":
            rows[where - 1][1] = rows[where][0] + rows[where][1] - rows[where - 1][0]
        del rows[where]
    elif fault == "added":
        where = int(np.argmax([r[1] if 1 < k < len(rows) - 1 else 0 for k, r in enumerate(rows)]))
        at, length, pitch = rows[where]
        rows[where][1] = length / 2
        step = int(rng.choice([-3, -2, -1, 1, 2, 3]))
        rows.insert(where + 1, [at + length / 2, length / 2, pitch + step])
    elif fault == "restart":
        back = rows[where][0] - rows[where - 2][0] + 0.4
        again = [[at + back, length, pitch] for at, length, pitch in rows[where - 2 :]]
        rows = rows[:where] + again
    elif fault == "stop":
        for row in rows[where:]:
            row[0] += STOP_S
    keys = [
        Played(LEAD_S + at, LEAD_S + at + max(length, 0.06), int(pitch),
               int(np.clip(loud + rng.normal(0, 6), 40, 120)))
        for at, length, pitch in rows
    ]  # fmt: skip
    return keys, where


def sounded(bank: str, program: int, keys: list[Played], rng: np.random.Generator, k: int) -> Sound:
    samples = synth(bank).render(program, keys)
    samples = samples * float(rng.uniform(0.3, 1.0))
    if k % 3 == 2:
        level = float(np.sqrt(np.mean(samples**2)))
        samples = samples + pink(len(samples), rng) * level * 10 ** (-30 / 20)
    return Sound(samples.astype(np.float32), RATE)


def run(which: str, lines: int) -> None:
    bank, instruments, first = SETS[which]
    said: dict[str, Counter[str]] = {f: Counter() for f in FAULTS}
    by: dict[str, Counter[str]] = {i.name: Counter() for i in instruments}
    for instrument in instruments:
        for number in range(lines):
            seed = first + 31 * instrument.program + number
            rng = np.random.default_rng(seed)
            line = line_of(seed, instrument)
            keys, _ = played(line, "equal", rng, 1.0)
            reference = sounded(bank, instrument.program, keys, rng, 0)
            for k, fault in enumerate(FAULTS):
                tempo = float(rng.uniform(0.9, 1.1))
                keys, where = played(line, fault, rng, tempo)
                take = sounded(bank, instrument.program, keys, rng, k + number)
                asked = JudgingRequest(EMPTY, CRITERION, reference=ReferenceTake("r", ""))
                verdict = judge_against(take, reference, asked)
                said[fault][verdict.answer] += 1
                by[instrument.name][
                    f"{'equal' if fault == 'equal' else 'fault'} {verdict.answer}"
                ] += 1
                if verdict.answer != ("yes" if fault == "equal" else "no"):
                    print(f"  {instrument.name} {seed} {fault} note {where + 1} of {len(line)}: "
                          f"{verdict.answer}: {verdict.reason[:150]}", flush=True)  # fmt: skip
    for fault in dict.fromkeys(FAULTS):
        print(f"{fault:10s} {dict(said[fault])}")
    for name, counts in by.items():
        print(f"{name:12s} {dict(sorted(counts.items()))}")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--set", choices=tuple(SETS), default="tune")
    parser.add_argument("--lines", type=int, default=2)
    given = parser.parse_args()
    run(given.set, given.lines)


if __name__ == "__main__":
    main()
