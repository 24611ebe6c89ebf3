"""Where a second reading explains the sound about as well, nobody is accused.

The alignment gives one reading. A note that it calls missed, or a tone that it calls extra, may be
read otherwise: the missed note's own pitch sounds where it was due; the extra tone has the pitch of
a note beside it that was missed, or begins with the attack of a note that was heard. Such a note is
told as one that cannot be told, and such a tone is no extra.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from coldtake.listening.alignment.performed_notes import PerformanceAlignment, PerformedNote
from coldtake.listening.features.audio_features import PITCH_STEP_S, AudioFeatures
from coldtake.music.passage import Passage

NEAR = 0.4  # semitones from a pitch that surely sounds
SAME = 0.55  # and from one that may be meant
FEWEST_FRAMES = 3  # 48 ms of a tone
CLOSEST_S = 0.06  # two tones that begin this near to each other have one attack
OCTAVE = 12.0


def with_second_readings(
    hearing: AudioFeatures, passage: Passage, reading: PerformanceAlignment
) -> PerformanceAlignment:
    """Return the reading without what may as well be read otherwise."""
    if not reading.kept:
        return reading
    pitches = [n.pitch for n in passage.notes]
    unsure = {i for i in _left_out(reading, len(pitches)) if _sounds(hearing, reading, pitches, i)}
    extras = []
    for extra in reading.extras:
        others = set(_read_otherwise(reading, pitches, extra, unsure | reading.unsure))
        unsure |= {i for i in others if i not in reading.kept}
        if not others:
            extras.append(extra)
    return replace(
        reading,
        extras=tuple(extras),
        unsure=reading.unsure | unsure,
        missed=reading.missed - unsure,
    )


def _left_out(reading: PerformanceAlignment, count: int) -> Iterator[int]:
    """Notes before the last one heard that were not heard."""
    return (i for i in range(min(max(reading.kept), count)) if i not in reading.kept)


def _neighbours(
    reading: PerformanceAlignment, index: int
) -> tuple[PerformedNote | None, PerformedNote | None]:
    before = max((k for k in reading.kept if k < index), default=None)
    after = min((k for k in reading.kept if k > index), default=None)
    return (
        None if before is None else reading.kept[before],
        None if after is None else reading.kept[after],
    )


def _sounds(
    hearing: AudioFeatures, reading: PerformanceAlignment, pitches: Sequence[int], index: int
) -> bool:
    """Whether a note's own pitch sounds between its neighbours, which have other pitches."""
    before, after = _neighbours(reading, index)
    beside = [pitches[n.index] for n in (before, after) if n is not None and n.index is not None]
    if pitches[index] in beside:
        return False
    start = 0.0 if before is None else before.onset_s
    stop = hearing.duration_s if after is None else after.onset_s
    part = slice(round(start / PITCH_STEP_S), round(stop / PITCH_STEP_S))
    near = np.abs(hearing.pitch[part] - pitches[index] - reading.tuning) < NEAR
    return int((near & hearing.voiced[part]).sum()) >= FEWEST_FRAMES


def _read_otherwise(
    reading: PerformanceAlignment, pitches: Sequence[int], extra: PerformedNote, unsure: set[int]
) -> Iterator[int]:
    """Notes that an extra tone may have been: beside it, and not heard or begun with it."""
    for i, note in reading.kept.items():
        if abs(note.onset_s - extra.onset_s) < CLOSEST_S:
            yield i
    if extra.tone.pitch is None:
        return
    before = max((i for i, n in reading.kept.items() if n.onset_s <= extra.onset_s), default=-1)
    after = min(
        (i for i, n in reading.kept.items() if i > before and n.onset_s > extra.onset_s),
        default=len(pitches),
    )
    for i in range(before + 1, after):
        off = extra.tone.pitch - pitches[i] - reading.tuning
        same = abs((off + OCTAVE / 2) % OCTAVE - OCTAVE / 2) < SAME
        if same or i in unsure:
            yield i
    if before >= 0 and reading.kept[before].right is None:
        yield before
