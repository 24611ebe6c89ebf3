"""From a reading to evidence: status, time, pitch and words of every note, and of the whole."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from coldtake.domain.take import NoteEvidence, NoteStatus, Restart
from coldtake.listening.alignment.performed_notes import (
    CLEAR_ATTACKS,
    PerformanceAlignment,
    PerformedNote,
)
from coldtake.listening.features.audio_features import (
    FINE_STEP_S,
    PITCH_STEP_S,
    AudioFeatures,
    Floats,
)
from coldtake.listening.features.onset_strength import attack_strength
from coldtake.listening.features.tempo import Grid, TempoFit, against_click, fit_tempo
from coldtake.listening.verdict import confidence
from coldtake.listening.verdict.flags import NoteTiming, is_displaced, is_mistuned, timings
from coldtake.listening.verdict.second_reading import (
    CLOSEST_S,
    FEWEST_FRAMES,
    NEAR,
    with_second_readings,
)
from coldtake.music.passage import Passage, PassageNote

FAINT_DB = 26.0  # an extra this far below the take's notes is not held against the player
RELEASE_S = 0.3  # so long a last tone may ring on without being two
SHORTEST_EXTRA_S = 0.05
CLEAR_EXTRA_S = 0.15
APART, STRAY = 0.7, 6.5  # semitones
SURE_ATTACK = 0.6  # an extra needs an attack of its own
BEFORE_START_S = 1.0  # what sounds longer before the first note does not belong to the take


@dataclass(frozen=True, eq=False)
class Evidence:
    """Evidence of one take.

    notes : one per written note in order, then the extras in order of time
    played : indices of written notes with an onset, in order; fit : their tempo, same order
    deviations_s : of each played note from the click if it was heard, else from the fitted tempo
    grid_error_s : half width (95 %) of the click's own place; timed_by : which of the two, in words
    lengths_of : what note lengths are held against, in words
    """

    notes: tuple[NoteEvidence, ...]
    extras: tuple[NoteEvidence, ...]
    restarts: tuple[Restart, ...]
    abstained: tuple[str, ...]
    played: tuple[int, ...]
    onset_errors_s: Floats
    fit: TempoFit | None
    deviations_s: Floats
    tuning_cents: float
    grid_error_s: float = 0.0
    timed_by: str = ""
    lengths_of: str = "the written ones"


def gather(
    hearing: AudioFeatures,
    passage: Passage,
    reading: PerformanceAlignment,
    grid: Grid | None = None,
) -> Evidence:
    """Put a reading into evidence; with a click's grid, deviations are from that."""
    reading = with_second_readings(hearing, passage, reading)
    played = tuple(sorted(reading.kept))
    beats = np.array([passage.notes[i].onset_beats for i in played])
    times = np.array([reading.kept[i].onset_s for i in played])
    cuts = [played.index(g.to_index) for g in reading.goings if g.to_index in reading.kept]
    fit = fit_tempo(beats, times, cuts) if len(played) else None
    tuning = _tuning(reading, passage, played)
    off = np.zeros(0) if fit is None else fit.deviations_s
    if fit is not None and grid is not None:
        off = against_click(beats, times, cuts, grid)
    unsure = _unsure(hearing, passage, reading, fit)
    timed = timings(fit, off, played, beats)
    notes = tuple(
        _note(passage, i, reading, timed.get(i), tuning, i in unsure)
        for i in range(len(passage.notes))
    )
    return Evidence(
        notes,
        _extras(passage, reading, tuning),
        tuple(
            Restart(
                at_s=g.at_s,
                to_beat=float(passage.notes[g.to_index].onset_beats),
                from_beat=float(passage.notes[g.from_index].end_beats)
                if g.from_index >= 0
                else None,
            )
            for g in reading.goings
        ),
        tuple(passage.notes[i].id for i in sorted(unsure)),
        played,
        np.array([reading.kept[i].error_s for i in played]),
        fit,
        off,
        100.0 * tuning,
        grid_error_s=0.0 if grid is None else grid.error_s,
    )


def _tuning(reading: PerformanceAlignment, passage: Passage, played: Sequence[int]) -> float:
    off = [
        t - passage.notes[i].pitch
        for i in played
        if reading.kept[i].right and (t := reading.kept[i].tone.pitch) is not None
    ]
    near = [o for o in off if abs(o - reading.tuning) < 0.8]
    return float(np.median(near)) if near else reading.tuning


def _unsure(
    hearing: AudioFeatures, passage: Passage, reading: PerformanceAlignment, fit: TempoFit | None
) -> set[int]:
    """Notes whose pitch, or whose being played at all, the sound does not tell."""
    unsure = {i for i, p in reading.kept.items() if p.right is None} | reading.unsure
    if fit is None or not reading.kept:
        return unsure
    strength = attack_strength(hearing)
    missing = {i for i in range(len(passage.notes)) if i not in reading.kept} - reading.missed
    return unsure | {
        i for i in missing if _may_be_repeated(hearing, strength, passage, reading, i, fit.bpm)
    }


def _faded(hearing: AudioFeatures, onset_s: float, expected_s: float) -> bool:
    """Whether the tone has fallen by 10 dB and more where the next should begin."""
    at, place = round(onset_s / FINE_STEP_S), round(expected_s / FINE_STEP_S)
    peak = hearing.fine_db[at : at + 60].max(initial=-120.0)
    return bool(hearing.fine_db[place - 5 : place + 30].max(initial=-120.0) < peak - 10.0)


def _sounds_on(hearing: AudioFeatures, pitch: float, from_s: float) -> bool:
    """Whether a pitch sounds within half a second from a moment on."""
    start = round(from_s / PITCH_STEP_S)
    part = slice(start, start + round(0.5 / PITCH_STEP_S))
    near = np.abs(hearing.pitch[part] - pitch) < NEAR
    return int((near & hearing.voiced[part]).sum()) >= FEWEST_FRAMES


def _may_be_repeated(
    hearing: AudioFeatures,
    strength: Floats,
    passage: Passage,
    reading: PerformanceAlignment,
    i: int,
    bpm: float,
) -> bool:
    """A note missed while an equal one before it sounds on, where attacks are not clear."""
    j = i - 1
    while j >= 0 and j not in reading.kept and passage.notes[j].pitch == passage.notes[i].pitch:
        j -= 1
    before = reading.kept.get(j)
    if before is None or passage.notes[j].pitch != passage.notes[i].pitch:
        return False
    beats = passage.notes[i].onset_beats - passage.notes[j].onset_beats
    expected = before.onset_s + beats * 60.0 / bpm
    if i > max(reading.kept):  # nothing comes after it: does its pitch still sound?
        return reading.clarity < CLEAR_ATTACKS and _sounds_on(
            hearing, passage.notes[i].pitch + reading.tuning, expected + RELEASE_S
        )
    if before.offset_s < expected or _faded(hearing, before.onset_s, expected):
        return False  # silence where it should have been: it was not played
    low, high = expected - 0.15, min(expected + 0.15, before.offset_s - 0.02)
    part = strength[max(round(low / FINE_STEP_S), 0) : max(round(high / FINE_STEP_S), 0)]
    sign = float(part.max(initial=0.0))
    return sign > 0.3 or reading.clarity < CLEAR_ATTACKS


def of_written(note: PassageNote, status: NoteStatus, **heard: Any) -> NoteEvidence:
    """What became of a written note; a passage made by a program may hold NumPy's numbers."""
    return NoteEvidence(
        id=note.id, status=status, expected_pitch=int(note.pitch),
        expected_beat=float(note.onset_beats), **heard,
    )  # fmt: skip


def _note(
    passage: Passage, index: int, reading: PerformanceAlignment, timing: NoteTiming | None,
    tuning: float, unsure: bool,
) -> NoteEvidence:  # fmt: skip
    note, playing = passage.notes[index], reading.kept.get(index)
    sure = confidence.of_note(reading, passage, index)
    if playing is None:
        return of_written(
            note, NoteStatus.RIGHT if unsure else NoteStatus.MISSED,
            confidence=confidence.CANNOT_TELL if unsure else sure,
            words="cannot tell whether it was played" if unsure else "not heard",
        )  # fmt: skip
    pitch = playing.tone.pitch
    cents = None if pitch is None else 100.0 * (pitch - note.pitch - tuning)
    wrong = playing.right is False
    late = None if timing is None else 1e3 * timing.from_grid_s
    displaced, mistuned = is_displaced(playing, timing), is_mistuned(playing, cents)
    return of_written(
        note, NoteStatus.WRONG if wrong else NoteStatus.RIGHT,
        onset_s=playing.onset_s, offset_s=playing.offset_s, pitch=pitch, cents=cents,
        deviation_ms=late, displaced=displaced, mistuned=mistuned,
        confidence=confidence.NO_CLEAR_PITCH if unsure else sure,
        words="its pitch is not clear" if unsure
        else f"{note.name} was played as {passage.name_as_read(pitch - tuning)}"
        if wrong and pitch is not None
        else _off_words(late if displaced else None, cents if mistuned else None),
    )  # fmt: skip


def _off_words(late_ms: float | None, cents: float | None) -> str:
    parts = []
    if late_ms is not None:
        parts.append(f"{abs(late_ms):.0f} ms {'late' if late_ms > 0 else 'early'}")
    if cents is not None:
        parts.append(f"{abs(cents):.0f} cents {'sharp' if cents > 0 else 'flat'}")
    return ", ".join(parts)


def _extras(
    passage: Passage, reading: PerformanceAlignment, tuning: float
) -> tuple[NoteEvidence, ...]:
    levels = [p.tone.level_db for p in reading.kept.values()]
    floor = (float(np.median(levels)) if levels else 0.0) - FAINT_DB
    first = min((p.onset_s for p in reading.kept.values()), default=0.0)
    starts = sorted(p.onset_s for p in reading.playings)
    counted = [
        e
        for e in reading.extras
        if _counts(e, floor, first, _beside(e, reading.playings)) and _apart(e.onset_s, starts)
    ]
    return tuple(
        NoteEvidence(
            id=f"extra-{k + 1}",
            status=NoteStatus.EXTRA,
            onset_s=e.onset_s,
            offset_s=e.offset_s,
            pitch=e.tone.pitch,
            confidence=confidence.of_extra(e, reading.clarity),
            words=f"an extra {passage.name_as_read((e.tone.pitch or 0.0) - tuning)}",
        )
        for k, e in enumerate(counted)
    )


def _apart(onset_s: float, starts: Sequence[float]) -> bool:
    """Whether no other tone begins as good as there: one attack is not two notes."""
    return not any(0.0 < abs(onset_s - s) < CLOSEST_S for s in starts)


def _stands_apart(extra: PerformedNote, beside: Sequence[float]) -> bool:
    """Whether a tone without a clear attack is surely another than those before and after it.

    beside : their pitches; a pitch detector strays by octaves and twelfths, never by a second
    """
    tone = extra.tone
    if tone.pitch is None or tone.spread > 0.3 or extra.offset_s - extra.onset_s < CLEAR_EXTRA_S:
        return False
    steps = [abs(tone.pitch - p) for p in beside]
    return all(APART < step < STRAY and tone.voiced > 0.9 for step in steps)


def _beside(extra: PerformedNote, playings: Sequence[PerformedNote]) -> list[float]:
    """Pitches of the tones before and after."""
    before = [p for p in playings if p.onset_s < extra.onset_s][-1:]
    after = [p for p in playings if p.onset_s > extra.onset_s][:1]
    return [p.tone.pitch for p in (*before, *after) if p.tone.pitch is not None]


def _counts(extra: PerformedNote, floor_db: float, first_s: float, beside: Sequence[float]) -> bool:
    """Whether an extra tone is held against the player."""
    if extra.tone.pitch is None or extra.tone.level_db < floor_db:
        return False
    if extra.attack < SURE_ATTACK and not _stands_apart(extra, beside):
        return False
    if extra.offset_s - extra.onset_s < SHORTEST_EXTRA_S or extra.tone.voiced < 0.5:
        return False
    if extra.after < 0:
        return first_s - extra.offset_s < 0.1 and first_s - extra.onset_s < BEFORE_START_S
    return True
