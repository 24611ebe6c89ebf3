"""Counts of one judged take of chords against its truth, which can be summed."""

from collections import Counter

import mir_eval
import numpy as np
from playing import Truth

from coldtake.domain.take import NoteStatus, Verdict
from coldtake.music.passage import Passage
from coldtake.units import pitch_to_hz

NEAR_S = 0.12


def score(verdict: Verdict, passage: Passage, truth: Truth) -> tuple[Counter, dict]:
    """Counts, and lists of onset errors [s] and of the faults that were not found."""
    c: Counter = Counter()
    lists: dict = {"onset": [], "lost": [], "accused": [], "over rise": []}
    wanted = "yes" if truth.clean else "no"
    c["takes"] = 1
    c[f"answer {wanted} {verdict.answer.value}"] = 1
    heard = {n.id: n for n in verdict.notes if n.status != NoteStatus.EXTRA}
    extras = [n for n in verdict.notes if n.status == NoteStatus.EXTRA]
    if not heard:
        c["undecided notes"] = len(passage.notes)
        return c, lists
    for written, true in zip(passage.notes, truth.notes, strict=True):
        note = heard[written.id]
        abstained = written.id in verdict.abstained
        accused = note.status != NoteStatus.RIGHT and not abstained
        c["notes"] += 1
        c["abstained"] += abstained
        if true.status == "right":
            c["right"] += 1
            c["falsely accused"] += accused
            c["falsely accused, faultless take"] += accused and not truth.faults
            if accused:
                lists["accused"].append((written.name, written.onset_beats, note.words))
        else:
            kind = true.status
            if true.status == "wrong" and abs((true.key or 0) - written.pitch) == 12:
                kind = "octave"
            c[f"faults {kind}"] += 1
            c[f"found {kind}"] += accused
            if not accused:
                lists["lost"].append((kind, written.name, written.onset_beats, abstained))
        if true.onset_s is not None and note.onset_s is not None:
            error = note.onset_s - min(
                (true.onset_s, *true.other_onsets), key=lambda x: abs(x - note.onset_s)
            )
            lists["onset"].append(error)
            lists["over rise"].append(abs(error) - 0.5 * true.rise.rise_s)
        c["displaced true"] += true.displaced
        c["displaced said"] += note.displaced
        c["displaced both"] += true.displaced and note.displaced
    _extras(c, extras, truth)
    c["restarts true"] += len(truth.restarts)
    c["restarts said"] += len(verdict.restarts)
    for at, beat in truth.restarts:
        c["restarts both"] += any(
            abs(r.at_s - at) < 0.35 and abs(r.to_beat - beat) < 1e-6 for r in verdict.restarts
        )
    if not truth.restarts:
        rows = [(n.onset_s, n.pitch) for n in verdict.notes if n.onset_s is not None]
        matched(c, rows, truth)
    return c, lists


def _extras(c: Counter, extras: list, truth: Truth) -> None:
    said = [(e.onset_s, e.pitch) for e in extras]
    c["extras said"] += len(said)
    c["extras true"] += len(truth.extras)
    for onset, key in truth.extras:
        near = [s for s in said if abs(s[0] - onset) < NEAR_S and abs(s[1] - key) < 0.6]
        if near:
            said.remove(near[0])
            c["extras both"] += 1


def matched(c: Counter, rows: list[tuple[float, float]], truth: Truth, prefix: str = "") -> None:
    """Notes at 50 and 25 ms and 50 cents by mir_eval, without offsets."""
    true = [(t.onset_s, t.key) for t in truth.notes if t.onset_s is not None]
    true = sorted([*true, *truth.extras])
    c[f"{prefix}reference"] += len(true)
    c[f"{prefix}estimated"] += len(rows)
    if not rows:
        return
    for ms in (50, 25):
        pairs = mir_eval.transcription.match_notes(
            _spans(true), _hz(true), _spans(rows), _hz(rows), onset_tolerance=ms / 1e3,
            pitch_tolerance=50.0, offset_ratio=None,
        )  # fmt: skip
        c[f"{prefix}matched {ms}"] += len(pairs)


def _spans(rows: list) -> np.ndarray:
    onsets = np.array([r[0] for r in rows])
    return np.column_stack([onsets, onsets + 0.1])


def _hz(rows: list) -> np.ndarray:
    return np.array([pitch_to_hz(float(r[1])) for r in rows])
