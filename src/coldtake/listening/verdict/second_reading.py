"""Where a second reading explains the sound about as well, nobody is accused.

The alignment gives one reading. A note that it calls missed, or a tone that it calls extra, may be
read otherwise: the missed note's own pitch sounds where it was due; the extra tone has the pitch of
a note beside it that was missed, or begins with the attack of a note that was heard. Such a note is
told as one that cannot be told, and such a tone is no extra. A missed note and an extra tone in its
place are one wrong note.

Where a take's attacks are not clear (slow instruments, rooms) more is open: whether a note struck
again was, and what sounded where several notes are missing.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from coldtake.listening.alignment.performed_notes import (
    CLEAR_ATTACKS,
    PerformanceAlignment,
    PerformedNote,
)
from coldtake.listening.features.audio_features import PITCH_STEP_S, AudioFeatures
from coldtake.music.passage import Passage

NEAR = 0.4  # semitones from a pitch that surely sounds
SAME = 0.55  # and from one that may be meant
FEWEST_FRAMES = 3  # 48 ms of a tone
CLOSEST_S = 0.06  # two tones that begin this near to each other have one attack
OTHER = 0.75  # and from one that surely is not
OCTAVE = 12.0
FARTHEST = 13.5  # semitones: a tone farther above is a partial, or another sound
UNCLEAR = CLEAR_ATTACKS  # below, a take tells little of notes struck again
SOUNDED = 0.3  # share of a gap that sounded, so that something was played there
TONED, ATTACK = 0.7, 0.6  # of a tone that stands for a note played wrong
LEAST_SOUND = 10  # frames (160 ms) before the first note that was heard
PLACE_SHARE = 0.35  # of the gap, how far from its time a missed note may have been played wrong


def with_second_readings(
    hearing: AudioFeatures, passage: Passage, reading: PerformanceAlignment
) -> PerformanceAlignment:
    """Return the reading without what may as well be read otherwise."""
    if not reading.kept:
        return reading
    pitches = [n.pitch for n in passage.notes]
    beats = [n.onset_beats for n in passage.notes]
    reading = _doubted(_as_wrong(reading, pitches, beats), pitches)
    left_out = set(_left_out(reading, len(pitches)))
    unsure = {i for i in left_out if _sounds(hearing, reading, pitches, i)}
    if reading.clarity < UNCLEAR:
        unsure |= {i for i in left_out if _struck_again(reading, pitches, i)}
        unsure |= {i for i in left_out if _covered(hearing, reading, left_out, i)}
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


def _as_wrong(
    reading: PerformanceAlignment, pitches: Sequence[int], beats: Sequence[float]
) -> PerformanceAlignment:
    """Let an extra tone in a missed note's place be that note, played wrong."""
    kept, extras = dict(reading.kept), list(reading.extras)
    for i in [*_left_out(reading, len(pitches))]:
        before = max((k for k in kept if k < i), default=None)
        after = min((k for k in kept if k > i), default=None)
        if before is None or after is None or beats[after] <= beats[before]:
            continue
        start, stop = kept[before].onset_s, kept[after].onset_s
        share = (beats[i] - beats[before]) / (beats[after] - beats[before])
        reach = PLACE_SHARE * (stop - start) * (1.0 - max(share, 1.0 - share) + 0.5)
        due = start + share * (stop - start)
        near = [e for e in extras if start < e.onset_s < stop and abs(e.onset_s - due) < reach]
        other = [e for e in near if _is_other(e, pitches[i] + reading.tuning)]
        if len(near) == 1 and other:
            kept[i] = replace(near[0], index=i, right=False)
            extras.remove(near[0])
    return replace(
        reading, kept=kept, extras=tuple(extras),
        unsure=reading.unsure - kept.keys(), missed=reading.missed - kept.keys(),
    )  # fmt: skip


def _doubted(reading: PerformanceAlignment, pitches: Sequence[int]) -> PerformanceAlignment:
    """Leave open wrong notes that no player plays, or that a neighbour's tone may feign."""

    def doubtful(i: int, note: PerformedNote) -> bool:
        if note.right is not False or note.tone.pitch is None:
            return False
        heard = note.tone.pitch - reading.tuning
        beside = [pitches[k] for k in (i - 1, i + 1) if 0 <= k < len(pitches)]
        feigned = reading.clarity < UNCLEAR and any(abs(heard - p) < SAME for p in beside)
        return feigned or heard - pitches[i] > FARTHEST

    kept = {i: replace(n, right=None) if doubtful(i, n) else n for i, n in reading.kept.items()}
    return replace(reading, kept=kept)


def _is_other(extra: PerformedNote, wanted: float) -> bool:
    """Whether a tone is surely not the wanted note, yet near enough to stand for it."""
    if extra.tone.pitch is None or extra.tone.voiced < TONED or extra.attack < ATTACK:
        return False
    off = extra.tone.pitch - wanted
    return OTHER < abs(off) < OCTAVE - OTHER


def _struck_again(reading: PerformanceAlignment, pitches: Sequence[int], index: int) -> bool:
    """Whether a neighbour that was heard has the note's own pitch: one long tone, or two."""
    return any(k in reading.kept and pitches[k] == pitches[index] for k in (index - 1, index + 1))


def _covered(
    hearing: AudioFeatures, reading: PerformanceAlignment, left_out: set[int], index: int
) -> bool:
    """Whether something sounded where several notes are missing, or before the first heard."""
    before, after = _neighbours(reading, index)
    if after is None:
        return False
    start = 0.0 if before is None else before.onset_s
    part = slice(round(start / PITCH_STEP_S), round(after.onset_s / PITCH_STEP_S))
    voiced = hearing.voiced[part]
    if before is None:
        return int(voiced.sum()) >= LEAST_SOUND
    alone = not {index - 1, index + 1} & left_out
    return not alone and bool(voiced.mean() >= SOUNDED)


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
    for k in (before, after):
        beside = reading.kept.get(k)
        if beside is None or beside.tone.pitch is None:
            continue
        again = abs(beside.tone.pitch - extra.tone.pitch) < SAME and reading.clarity < UNCLEAR
        if beside.right is None or again:
            yield k
