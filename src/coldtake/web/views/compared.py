"""A take compared with its reference take: names and places where nothing is written.

A place is told as the second of the reference's recording at which the note begins.
"""

from collections.abc import Sequence

from coldtake.domain.take import NoteEvidence, NoteStatus, Reference, Verdict
from coldtake.music.passage import Passage, PassageNote
from coldtake.music.theory.tones import pitch_name
from coldtake.web.views.evidence import FAULTS, beat_of, kind_of
from coldtake.web.views.take_list import SharedBar

EVERY = 4  # of the notes that were heard right, so many to the next place


def passage_of(verdict: Verdict) -> Passage | None:
    """Return the reference's notes as the verdict names them; None where it has no reference."""
    told = verdict.reference
    if told is None:
        return None
    notes = (n for n in verdict.notes if n.expected_pitch is not None)
    return Passage("", tuple(_note(n, told) for n in notes), (), (), "")


def _note(note: NoteEvidence, told: Reference) -> PassageNote:
    pitch, beat = note.expected_pitch or 0, note.expected_beat or 0.0
    return PassageNote(
        id=note.id, notation_ids=(), onset_beats=beat, duration_beats=0.0, pitch=pitch,
        written_pitch=pitch, name=pitch_name(pitch), bar=f"{told.at_s(beat):.1f} s", bar_index=0,
    )  # fmt: skip


def of_reference(verdict: Verdict) -> Verdict | None:
    """Return what the same evidence says of the reference itself: each note right at its time."""
    told = verdict.reference
    if told is None:
        return None
    notes = tuple(
        NoteEvidence(id=n.id, status=NoteStatus.RIGHT, onset_s=told.at_s(n.expected_beat))
        for n in verdict.notes
        if n.expected_beat is not None
    )
    return Verdict(
        answer=verdict.answer, reason="", tempo_bpm=None, tests=(), notes=notes, engine=""
    )


def places(verdict: Verdict, anchors: Sequence[tuple[float, float]]) -> tuple[SharedBar, ...]:
    """Return places to begin at in both sounds: every fault, and every fourth right note.

    anchors : (reference [s], take [s]) of the notes heard in both
    """
    told = verdict.reference
    if told is None or not anchors:
        return ()
    import numpy as np  # a quarter of a second that no other page needs at start

    there, here = zip(*anchors, strict=True)
    found, right = [], 0
    for note in sorted(verdict.notes, key=lambda n: beat_of(n, verdict.notes)):
        kind, at_s = kind_of(note), told.at_s(beat_of(note, verdict.notes))
        right += kind not in FAULTS
        if kind not in FAULTS and right % EVERY != 1:
            continue
        take_s = note.onset_s if note.onset_s is not None else float(np.interp(at_s, there, here))
        name = pitch_name(note.expected_pitch or note.pitch or 0)
        label = f"{at_s:.1f} s, {name}" + (f", {kind}" if kind in FAULTS else "")
        found.append(SharedBar(label, (round(at_s, 3), round(take_s, 3))))
    return tuple(found)
