"""Scores of one judged take against its truth, as counts that can be summed."""

from collections import Counter
from dataclasses import dataclass, field

import mir_eval
import numpy as np
from performances import Truth

from coldtake.domain.take import NoteEvidence, NoteStatus, Verdict
from coldtake.music.passage import Passage
from coldtake.units import pitch_to_hz

NEAR_S = 0.10  # an extra found within this of a true one is that one
RESTART_S = 0.35


@dataclass
class Score:
    """Counts, and lists of errors, of one take or of many."""

    counts: Counter = field(default_factory=Counter)
    lists: dict = field(default_factory=dict)

    def add(self, other: "Score") -> None:
        self.counts.update(other.counts)
        for name, values in other.lists.items():
            self.lists.setdefault(name, []).extend(values)


def total(rows: list[dict]) -> Score:
    """The sum of the scores of rows."""
    out = Score()
    for row in rows:
        out.add(row["score"])
    return out


def score_take(verdict: Verdict, passage: Passage, truth: Truth) -> Score:
    score = Score()
    c = score.counts
    c["takes"] = 1
    wanted = "no" if has_note_fault(truth) else "yes"
    c[f"answer {wanted} {verdict.answer.value}"] = 1
    notes = {n.id: n for n in verdict.notes if n.status != NoteStatus.EXTRA}
    extras = [n for n in verdict.notes if n.status == NoteStatus.EXTRA]
    if not notes:
        c["undecided notes"] = len(passage.notes)
        return score
    own = float(np.median([t.cents for t in truth.notes if t.onset_s is not None]))
    for written, t in zip(passage.notes, truth.notes, strict=True):
        _score_note(score, notes[written.id], t, own, written.id in verdict.abstained, truth)
    _score_extras(score, extras, truth)
    _score_restarts(c, verdict, truth)
    if not truth.restarts:
        score_f1(c, *played_notes(truth), *heard_notes(verdict))
    return score


def has_note_fault(truth: Truth, *, restarts: bool = True) -> bool:
    """Whether the notes are not all as written; going back counts where asked."""
    return bool(
        truth.extras
        or (restarts and truth.restarts)
        or any(n.status != "right" for n in truth.notes)
    )


def _score_note(score, note: NoteEvidence, t, own: float, abstained: bool, truth: Truth) -> None:
    c = score.counts
    c["notes"] += 1
    c["abstained"] += abstained
    accused = note.status != NoteStatus.RIGHT and not abstained
    if not abstained:
        said = (note.status.value, note.confidence, note.status.value == t.status)
        score.lists.setdefault("told", []).append(said)
    if t.status == "right":
        c["right"] += 1
        c["falsely accused"] += accused
        if not truth.faults:
            c["falsely accused, faultless take"] += accused
    else:
        c[f"faults {t.status}"] += 1
        c[f"found {t.status}"] += accused
        c[f"named {t.status}"] += note.status.value == t.status and not abstained
    if t.status == "wrong" and t.key is not None and abs(t.key - note.expected_pitch) == 12:
        c["faults octave"] += 1
        c["found octave"] += accused
    if t.onset_s is None or note.onset_s is None:
        return
    error = note.onset_s - min((t.onset_s, *t.other_onsets), key=lambda x: abs(x - note.onset_s))
    score.lists.setdefault("onset", []).append(error)
    score.lists.setdefault("over rise", []).append(abs(error) - 0.5 * t.rise.rise_s)
    if t.status == "right" and not accused and note.cents is not None:
        score.lists.setdefault("cents", []).append(note.cents - (t.cents - own))
    for name, true, said in (
        ("displaced", t.displaced, note.displaced), ("mistuned", t.mistuned, note.mistuned)
    ):  # fmt: skip
        c[f"{name} true"] += true
        c[f"{name} said"] += said
        c[f"{name} both"] += true and said


def _score_extras(score: Score, extras: list[NoteEvidence], truth: Truth) -> None:
    c, left = score.counts, [onset for onset, _ in truth.extras]
    c["extras said"] += len(extras)
    c["extras true"] += len(truth.extras)
    for extra in extras:
        near = [s for s in left if abs(s - extra.onset_s) < NEAR_S]
        if near:
            left.remove(near[0])
            c["extras both"] += 1
        score.lists.setdefault("told", []).append(("extra", extra.confidence, bool(near)))


def _score_restarts(c: Counter, verdict: Verdict, truth: Truth) -> None:
    c["restarts true"] += len(truth.restarts)
    c["restarts said"] += len(verdict.restarts)
    for at, beat in truth.restarts:
        c["restarts both"] += any(
            abs(r.at_s - at) < RESTART_S and abs(r.to_beat - beat) < 1e-6 for r in verdict.restarts
        )


def played_notes(truth: Truth) -> tuple[np.ndarray, np.ndarray]:
    rows = [(t.onset_s, t.key + t.cents / 100) for t in truth.notes if t.onset_s is not None]
    rows = sorted([*rows, *truth.extras])
    return np.array([r[0] for r in rows]), np.array([r[1] for r in rows])


def heard_notes(verdict: Verdict) -> tuple[np.ndarray, np.ndarray]:
    rows = sorted((n.onset_s, n.pitch) for n in verdict.notes if n.onset_s and n.pitch)
    return np.array([r[0] for r in rows]), np.array([r[1] for r in rows])


def score_f1(c: Counter, ref_s, ref_pitch, est_s, est_pitch, prefix: str = "") -> None:
    """Matched, reference and estimated notes at 50 and 25 ms, 50 cents, without offsets."""
    c[f"{prefix}reference"] += len(ref_s)
    c[f"{prefix}estimated"] += len(est_s)
    for ms in (50, 25):
        if len(est_s):
            c[f"{prefix}matched {ms}"] += len(
                mir_eval.transcription.match_notes(
                    _spans(ref_s), _hz(ref_pitch), _spans(est_s), _hz(est_pitch),
                    onset_tolerance=ms / 1e3, pitch_tolerance=50.0, offset_ratio=None,
                )
            )  # fmt: skip


def _spans(onsets: np.ndarray) -> np.ndarray:
    return np.column_stack([onsets, onsets + 0.1])


def _hz(pitches: np.ndarray) -> np.ndarray:
    return np.array([pitch_to_hz(p) for p in pitches])
