"""Faults that only one of two opinions sees are taken back, or become what cannot be told."""

from collections.abc import Collection, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from msgspec.structs import replace as changed

from coldtake.domain.take import NoteEvidence, NoteStatus
from coldtake.listening.features.audio_features import AudioFeatures, Floats
from coldtake.listening.improvised.notes import ImprovisedNote
from coldtake.listening.improvised.transcribing import OVERTONES
from coldtake.listening.reference.reference_line import ReferenceLine
from coldtake.listening.reference.second_opinion import SameStretch, SoundComparison
from coldtake.listening.verdict.confidence import CANNOT_TELL, EXTRA_UNCLEAR
from coldtake.listening.verdict.evidence import Evidence
from coldtake.music.theory.tones import pitch_name

LEAST_ANCHORS = 3
LOST_SHARE = 0.5  # of a stop, or of what is played again, by which it lengthens the take
SAME_S = 0.02
FILLED = 0.6  # of a part, by a note that explains why it sounds different
ACCUSED = (NoteStatus.WRONG, NoteStatus.MISSED)
ALIKE = 0.9  # confidence of a note that sounds as in the reference
UNTOLD = "cannot tell whether it was played as in the reference take"


def without_unsure(evidence: Evidence, unsure: Collection[int]) -> Evidence:
    """Let notes of which the reference is not sure accuse nobody."""
    notes = tuple(
        _untold(n) if k in unsure and n.status in ACCUSED else n
        for k, n in enumerate(evidence.notes)
    )
    return _with_notes(evidence, notes, evidence.extras)


def doubted(
    evidence: Evidence, line: ReferenceLine, take: AudioFeatures, heard: Sequence[ImprovisedNote]
) -> Evidence:
    """Let a fault stand only where two opinions see it, and a right note too.

    heard : the take's notes without any knowledge of the reference
    """
    anchors = _anchors(evidence, line)
    if line.hearing is None or len(anchors) < LEAST_ANCHORS:
        return without_unsure(evidence, line.unsure)
    sounds = SoundComparison(line.hearing, take, anchors)
    places = _Places(evidence, line, sounds)
    sounds.learn([places.of(k) for k, n in enumerate(evidence.notes) if _sure(n)])
    notes = [
        _second(note, sounds, places.of(k), sure=k not in line.unsure)
        for k, note in enumerate(evidence.notes)
    ]
    extras = []
    for extra in evidence.extras:
        differ = sounds.differ(places.of_extra(extra))
        if differ:
            extras.append(extra)
        elif differ is None:
            at = places.covering(extra.onset_s or 0.0)
            notes[at] = _untold(notes[at])
    for k, note in enumerate(evidence.notes):
        part = sounds.strays(places.of(k)) if _sure(note) else None
        if part is None or any(_during(e, part) for e in extras):
            continue
        other = _other_note(heard, part, line.notes[k].pitch)
        if other is None:
            notes[k] = _untold(note)
        else:
            extras.append(_as_extra(other, line.notes[k], len(evidence.extras) + len(extras) + 1))
    told = _with_notes(evidence, tuple(notes), tuple(extras))
    return _with_time_lost(told, line, anchors)


def _with_time_lost(evidence: Evidence, line: ReferenceLine, anchors: Floats) -> Evidence:
    """Keep the stops and the goings back that made the take longer there.

    Between the last sure note before and the first one after, the take must be longer than the
    reference, at the speed of the other notes, by `LOST_SHARE` of what is said to be lost. A note
    of which the reference is not sure, or of one pitch with the one before, may have begun at
    another time.
    """
    speed = float(np.median(np.diff(anchors[:, 1]) / np.diff(anchors[:, 0])))
    again = {b.onset_s for a, b in pairwise(line.notes) if a.pitch == b.pitch}
    anchors = np.array([pair for pair in anchors if pair[0] not in again])

    def is_lost(at_s: float, length_s: float) -> bool:
        at = int(np.searchsorted(anchors[:, 1], at_s))
        if at in (0, len(anchors)):
            return True
        there, here = anchors[at] - anchors[at - 1]
        return bool(here - speed * there >= LOST_SHARE * length_s)

    beat_s = speed * line.beat_s
    restarts = tuple(
        r
        for r in evidence.restarts
        if r.from_beat is None or is_lost(r.at_s - SAME_S, beat_s * (r.from_beat - r.to_beat))
    )
    fit = evidence.fit
    if fit is not None:
        onsets = [evidence.notes[i].onset_s or 0.0 for i in evidence.played]
        waits = tuple((k, b) for k, b in fit.waits if is_lost(onsets[k] - SAME_S, beat_s * b))
        fit = replace(fit, waits=waits)
    return replace(evidence, restarts=restarts, fit=fit)


def _second(
    note: NoteEvidence, sounds: SoundComparison, place: SameStretch, *, sure: bool
) -> NoteEvidence:
    """A fault after the second opinion; sure : whether the reference is, of this note."""
    if note.status not in ACCUSED:
        return note
    differ = sounds.differ(place)
    if differ is False:
        return _alike(note)
    missed = note.status is NoteStatus.MISSED
    borne_out = sounds.is_missing(place) if missed else differ
    return note if borne_out and sure else _untold(note)


def _during(note: NoteEvidence, part: tuple[float, float]) -> bool:
    """Whether a tone sounds within a part of the take."""
    return (note.onset_s or 0.0) < part[1] and (note.offset_s or 0.0) > part[0]


def _other_note(
    heard: Sequence[ImprovisedNote], part: tuple[float, float], pitch: int
) -> ImprovisedNote | None:
    """A note of clearly another pitch that fills most of a part of the take."""
    for note in heard:
        filled = min(note.offset_s, part[1]) - max(note.onset_s, part[0])
        if filled >= FILLED * (part[1] - part[0]) and note.sure:
            return None if abs(note.pitch - pitch) in (0, *OVERTONES) else note
    return None


def _as_extra(note: ImprovisedNote, expected: ImprovisedNote, number: int) -> NoteEvidence:
    return NoteEvidence(
        id=f"extra-{number}", status=NoteStatus.EXTRA, onset_s=note.onset_s, offset_s=note.offset_s,
        pitch=float(note.pitch), confidence=EXTRA_UNCLEAR,
        words=f"{pitch_name(note.pitch)} where the reference take has {pitch_name(expected.pitch)}",
    )  # fmt: skip


class _Places:
    """Where notes lie in both sounds."""

    def __init__(self, evidence: Evidence, line: ReferenceLine, sounds: SoundComparison) -> None:
        self._notes, self._line, self._sounds = evidence.notes, line, sounds

    def of(self, index: int) -> SameStretch:
        """A note of the reference: in the take where it was heard, or would have been."""
        note, heard = self._line.notes[index], self._notes[index]
        ends = [x.onset_s for x in self._line.notes[index + 1 : index + 2]]
        stop = min([note.offset_s, *ends])
        start_s = heard.onset_s if heard.onset_s is not None else self._sounds.in_take(note.onset_s)
        stop_s = self._sounds.in_take(stop)
        return SameStretch((note.onset_s, stop), (start_s, max(stop_s, start_s + 0.05)))

    def covering(self, take_s: float) -> int:
        """The note of the reference that sounds there, or sounded last."""
        at = self._sounds.in_reference(take_s)
        return max((k for k, n in enumerate(self._line.notes) if n.onset_s <= at + 0.05), default=0)

    def of_extra(self, extra: NoteEvidence) -> SameStretch:
        """An extra tone, and what sounds in the reference meanwhile."""
        start, stop = extra.onset_s or 0.0, extra.offset_s or 0.0
        at = self._sounds.in_reference(start), self._sounds.in_reference(stop)
        return SameStretch(at, (start, stop))


def _sure(note: NoteEvidence) -> bool:
    return note.status is NoteStatus.RIGHT and note.onset_s is not None and note.confidence > 0.5


def _anchors(
    evidence: Evidence, line: ReferenceLine
) -> "np.ndarray[tuple[int, int], np.dtype[np.float64]]":
    """(reference [s], take [s]) of the sure notes that were heard right, rising in both."""
    pairs: list[tuple[float, float]] = []
    pairs_of = zip(line.notes, evidence.notes, strict=True)
    for k, (there, note) in enumerate(pairs_of):
        if (
            _sure(note)
            and k not in line.unsure
            and note.onset_s is not None
            and (not pairs or (there.onset_s > pairs[-1][0] and note.onset_s > pairs[-1][1]))
        ):
            pairs.append((there.onset_s, note.onset_s))
    return np.array(pairs, dtype=np.float64).reshape(-1, 2)


def _alike(note: NoteEvidence) -> NoteEvidence:
    return changed(
        note, status=NoteStatus.RIGHT, words="sounds as in the reference take", confidence=ALIKE
    )


def _untold(note: NoteEvidence) -> NoteEvidence:
    return changed(note, status=NoteStatus.RIGHT, words=UNTOLD, confidence=CANNOT_TELL)


def _with_notes(
    evidence: Evidence, notes: tuple[NoteEvidence, ...], extras: tuple[NoteEvidence, ...]
) -> Evidence:
    """The evidence with other notes; what became untold is counted as such."""
    untold = tuple(
        after.id
        for before, after in zip(evidence.notes, notes, strict=True)
        if after is not before and after.confidence == CANNOT_TELL
    )
    told = tuple(i for i in evidence.abstained if i not in untold)
    return replace(evidence, notes=notes, extras=extras, abstained=(*told, *untold))
