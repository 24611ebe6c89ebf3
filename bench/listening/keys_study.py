"""Keyboard performances of written music laid along the page: how many notes find their own.

    PYTHONPATH=src python bench/listening/keys_study.py --takes 20

No open performances with their truth come with the libraries used here, so people are imitated on
chorales of music21's corpus (four voices, two hands): chords spread by 24-38 ms (median of written
chords of 22 pianists, worked out from published match files), the melody 7-23 ms ahead, rubato,
drift, jitter; and wrong, missed and extra notes. Truth is known key by key. Seeds from 80000; the
alignment has no constants that were tuned on this.
"""

import argparse
import json
from collections import defaultdict
from pathlib import Path

import numpy as np

from coldtake.domain.criterion import Criterion, NotesTest
from coldtake.domain.take import Answer, NoteStatus
from coldtake.listening.judging_request import JudgingRequest
from coldtake.listening.keyboard.midi_alignment import match_keys
from coldtake.listening.keyboard.midi_judge import judge_keys
from coldtake.listening.keyboard.midi_performance import MidiNote, MidiPerformance
from coldtake.music.notation.reading.excerpt import select_bars
from coldtake.music.notation.reading.reader import read_passage, unpack
from coldtake.music.passage import Passage

FIRST_SEED = 80_000
UNISON_S = 0.15
FAULTS = ((), (), ("wrong",), ("missed",), ("extra",), ("wrong", "missed", "extra"))


def chorales(count: int, seed: int) -> list[Passage]:
    """Eight bars each of chorales drawn at random."""
    from music21 import corpus

    paths = [Path(p) for p in corpus.getComposer("bach") if str(p).endswith(".mxl")]
    order = np.random.default_rng(seed).permutation(len(paths))
    found: list[Passage] = []
    for k in order:
        form, text = unpack(paths[k].read_bytes(), paths[k].name)
        passage = read_passage(text, form)
        if len(passage.bars) >= 8 and not passage.is_one_line:
            found.append(select_bars(passage, 1, 8))
        if len(found) == count:
            break
    return found


def performed(passage: Passage, seed: int, faults: tuple[str, ...]):
    """Presses, the press of each note (None: left out), wrong notes, and extra presses."""
    rng = np.random.default_rng(seed)
    beat_s = 60.0 / float(rng.uniform(60, 110))
    rubato, phase = float(rng.uniform(0, 0.08)), float(rng.uniform(0, 6))
    spread, lead = float(rng.uniform(0.024, 0.038)), float(rng.uniform(0.007, 0.023))
    top = {b: max(n.pitch for n in passage.notes if n.onset_beats == b)
           for b in {n.onset_beats for n in passage.notes}}  # fmt: skip
    presses: list[MidiNote | None] = []
    for note in passage.notes:
        at = note.onset_beats * beat_s * (1 + rubato * np.sin(0.4 * note.onset_beats + phase) * 0.2)
        at += 0.5 + rng.normal(0, 0.5 * spread) - lead * (note.pitch == top[note.onset_beats])
        presses.append(MidiNote(at, at + 0.85 * note.duration_beats * beat_s, note.pitch, 80))
    wrong: set[int] = set()
    extras: list[MidiNote] = []
    for fault in faults:
        k = int(rng.integers(2, len(presses) - 2))
        press = presses[k]
        if press is None or k in wrong:
            continue
        if fault == "missed":
            presses[k] = None
        elif fault == "wrong":
            away = int(rng.choice([-2, -1, 1, 2]))
            presses[k] = MidiNote(press.onset_s, press.offset_s, press.pitch + away, 80)
            wrong.add(k)
        else:
            later = press.onset_s + 0.5 * beat_s
            extras.append(MidiNote(later, later + 0.1, press.pitch + 6, 60))
    return presses, wrong, extras


def _own(found: MidiNote | None, press: MidiNote) -> bool:
    """Whether it is that press; two voices in unison have the same key, whichever is whose."""
    if found is None:
        return False
    return found.pitch == press.pitch and abs(found.onset_s - press.onset_s) < UNISON_S


def run(takes: int) -> dict:
    table: dict = defaultdict(int)
    for k, passage in enumerate(chorales(takes, FIRST_SEED)):
        for f, faults in enumerate(FAULTS):
            presses, wrong, extras = performed(passage, FIRST_SEED + 10 * k + f, faults)
            made = [p for p in presses if p is not None] + extras
            keys = MidiPerformance(tuple(sorted(made, key=lambda p: (p.onset_s, p.pitch))), 600.0)
            matched = match_keys(keys.presses, passage)
            verdict = judge_keys(keys, JudgingRequest(passage, Criterion(tests=(NotesTest(),))))
            status = {n.id: n.status for n in verdict.notes}
            for i, press in enumerate(presses):
                kind = "missed" if press is None else "wrong" if i in wrong else "right"
                said = status.get(passage.notes[i].id)
                table[kind] += 1
                table[f"{kind}, told so"] += said == kind
                table["right, accused"] += kind == "right" and said in (
                    NoteStatus.WRONG, NoteStatus.MISSED,
                )  # fmt: skip
                if press is not None:
                    table["pressed"] += 1
                    table["pressed, laid on its own note"] += _own(matched.played.get(i), press)
            table["extra"] += len(extras)
            heard = [n.onset_s for n in verdict.notes if n.status is NoteStatus.EXTRA]
            hits = sum(any(abs((h or 0) - e.onset_s) < 1e-6 for h in heard) for e in extras)
            table["extra, told so"] += hits
            table["extra, told of none"] += len(heard) - hits
            table["takes"] += 1
            want = Answer.NO if wrong or extras or None in presses else Answer.YES
            table["verdicts right"] += verdict.answer is want
    for name, value in table.items():
        print(f"{name}: {value}")
    return dict(table)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--takes", type=int, default=10)
    parser.add_argument("--out", type=Path)
    given = parser.parse_args()
    found = run(given.takes)
    if given.out:
        given.out.write_text(json.dumps(found, indent=1))


if __name__ == "__main__":
    main()
