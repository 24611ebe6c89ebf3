"""Ornaments are heard as custom allows: their notes are never extra, nor their main note wrong.

A trill may begin on the main note or the one above it, have any number of turns and a turn at its
end; a mordent or turn may come before, on or after the beat. C. P. E. Bach (Versuch über die wahre
Art das Clavier zu spielen, Berlin 1753, chapter 2) and J. J. Quantz (Versuch einer Anweisung die
Flöte traversiere zu spielen, Berlin 1752, chapters 8 and 9) disagree about most of this, and both
are right. So between the notes before and after an ornamented one, neighbours of its pitch belong
to it. Whether it was ornamented at all is not asked: older practice leaves that to the player.
A grace note that was not heard, too short for its recording perhaps, is not told to be missing.
"""

from collections.abc import Iterator
from dataclasses import replace as replaced

import numpy as np
from msgspec.structs import replace

from coldtake.domain.take import NoteEvidence, NoteStatus
from coldtake.listening.features.audio_features import Floats
from coldtake.listening.verdict.confidence import RIGHT_FAINT
from coldtake.listening.verdict.evidence import Evidence
from coldtake.music.passage import Passage

NEIGHBOUR = 2.6  # semitones: a whole tone above or below, and how far it may be out of tune
OCTAVE = 12.0
EARLY_S = 0.25  # so long before its note an ornament may begin
LAST_S = 8.0  # so long after its start the last note of a passage is taken to sound
APART_S = 0.15  # a note that begins so long before an ornament is over lies within it
DOUBT = 0.3  # confidence
HIDDEN_WORDS = "cannot tell whether it was played"
GRACE_WORDS = "a grace note: cannot tell whether it was played"
WORDS = "with its ornament"


def with_ornaments(evidence: Evidence, passage: Passage) -> Evidence:
    """Return the evidence with what belongs to ornaments taken as such."""
    free = {i for i, n in enumerate(passage.notes) if n.ornament or n.grace}
    if not free:
        return evidence
    notes, extras = list(evidence.notes), list(evidence.extras)
    restarts = list(evidence.restarts)
    for i in sorted(free):
        low, high = _span(notes, i)
        inside = [e for e in extras if _belongs(e, passage.notes[i].pitch, low, high)]
        notes[i] = _told(notes[i], inside, ornament=bool(passage.notes[i].ornament))
        if passage.notes[i].ornament:
            extras = [e for e in extras if e not in inside]
            restarts = [r for r in restarts if not low <= r.at_s < high]
    for i in _untimed(passage):
        notes[i] = replace(notes[i], displaced=False)
    told = {passage.notes[i].id for i in free}
    doubtful = [i + 1 for i in free if passage.notes[i].ornament and _hidden(notes, i)]
    for i in doubtful:
        notes[i] = replace(notes[i], confidence=DOUBT, words=HIDDEN_WORDS, displaced=False)
    abstained = [i for i in evidence.abstained if i not in told]
    abstained += [passage.notes[i].id for i in doubtful]
    return replaced(
        evidence,
        notes=tuple(notes),
        extras=tuple(extras),
        restarts=tuple(restarts),
        abstained=tuple(dict.fromkeys(abstained)),
        deviations_s=_in_time(evidence, set(_untimed(passage))),
    )


def _hidden(notes: list[NoteEvidence], index: int) -> bool:
    """Say whether the note after an ornament was only made out, faintly, among its turns."""
    if index + 1 >= len(notes):
        return False
    now, after = notes[index], notes[index + 1]
    if now.offset_s is None or after.onset_s is None or after.status is not NoteStatus.RIGHT:
        return False
    return after.onset_s < now.offset_s - APART_S and after.confidence <= RIGHT_FAINT


def _in_time(evidence: Evidence, untimed: set[int]) -> Floats:
    """Deviations, where those of notes whose place is the player's count as none."""
    if len(evidence.played) != len(evidence.deviations_s):
        return evidence.deviations_s
    here = np.array([i in untimed for i in evidence.played], dtype=bool)
    return np.where(here, 0.0, evidence.deviations_s)


def _span(notes: list[NoteEvidence], index: int) -> tuple[float, float]:
    """Seconds between the notes that were heard before and after one."""
    own = notes[index].onset_s
    before = [n.onset_s for n in notes[:index] if n.onset_s is not None]
    after = [n.onset_s for n in notes[index + 1 :] if n.onset_s is not None]
    low = max(before, default=-np.inf)
    if own is not None:
        low = max(low, own - EARLY_S)
    start = own if own is not None else low
    high = min((s for s in after if s > start), default=start + LAST_S)
    return float(low), float(high)


def _belongs(extra: NoteEvidence, pitch: int, low: float, high: float) -> bool:
    if extra.onset_s is None or extra.pitch is None:
        return False
    return low < extra.onset_s < high and abs(extra.pitch - pitch) <= NEIGHBOUR


def _told(note: NoteEvidence, inside: list[NoteEvidence], *, ornament: bool) -> NoteEvidence:
    """Say what became of an ornamented note, or of a grace note."""
    if note.status is NoteStatus.RIGHT or note.expected_pitch is None:
        return replace(note, displaced=False)
    if not ornament:
        return replace(
            note, status=NoteStatus.RIGHT, confidence=DOUBT, words=GRACE_WORDS, displaced=False
        )
    if note.status is NoteStatus.WRONG and _is_near(note.pitch, note.expected_pitch):
        return replace(
            note, status=NoteStatus.RIGHT, words=WORDS, mistuned=False, displaced=False, cents=None
        )
    if note.status is NoteStatus.MISSED and inside:
        first = min(inside, key=lambda e: e.onset_s or 0.0)
        return replace(
            note,
            status=NoteStatus.RIGHT,
            onset_s=first.onset_s,
            offset_s=max(e.offset_s or 0.0 for e in inside),
            pitch=first.pitch,
            confidence=first.confidence,
            words=WORDS,
        )
    return note


def _is_near(pitch: float | None, written: int) -> bool:
    """Say whether a pitch is the note's or a neighbour's, in any octave.

    Two tones in quick turns have a common lower one, which a pitch detector may hear.
    """
    if pitch is None:
        return False
    off = (pitch - written + OCTAVE / 2) % OCTAVE - OCTAVE / 2
    return abs(off) <= NEIGHBOUR


def _untimed(passage: Passage) -> Iterator[int]:
    """Notes whose place in time is the player's: ornaments, graces, and what follows a grace."""
    for i, note in enumerate(passage.notes):
        if note.ornament or note.grace or (i > 0 and passage.notes[i - 1].grace):
            yield i
