"""From keys laid along a passage to evidence, whether they were pressed or heard."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from coldtake.domain.take import NoteEvidence, NoteStatus, Restart
from coldtake.listening.features.audio_features import Floats
from coldtake.listening.features.tempo import Grid, TempoFit, against_click, fit_tempo
from coldtake.listening.keyboard.midi_alignment import TOGETHER_S, Matched, PlayedGroup
from coldtake.listening.keyboard.midi_performance import MidiNote
from coldtake.listening.verdict.evidence import Evidence, of_written
from coldtake.listening.verdict.flags import least_displaced_s
from coldtake.music.passage import Passage, PassageNote

CANNOT_TELL = "cannot tell whether it was played: other notes of the chord cover it"


@dataclass(frozen=True)
class _Timed:
    """The played events with their times, and the tempo through them.

    place : note index to its event's place; off_s : from the click if there is one, else the tempo
    """

    times: Floats
    place: dict[int, int]
    fit: TempoFit | None
    off_s: Floats
    error_s: float


def evidence_of(
    matched: Matched,
    passage: Passage,
    *,
    onset_error_s: float,
    timed_by: str = "",
    grid: Grid | None = None,
    unsure: Collection[int] = (),
    tuning_cents: float = 0.0,
) -> Evidence:
    """Evidence of chords, one time for each chord that was played.

    onset_error_s : half width (95 %) within which an onset is known; grid : of a click that was
    heard; unsure : indices of notes that cannot be told
    """
    played = [e for e in matched.events if any(i in matched.played for i in e.notes)]
    cuts = _cuts(matched, played)
    timed = _timed(matched, played, cuts, onset_error_s, grid)
    notes = tuple(
        _unsure_note(note) if i in unsure and i not in matched.played
        else _note(passage, i, matched, timed, unsure=i in unsure)
        for i, note in enumerate(passage.notes)
    )  # fmt: skip
    return Evidence(
        notes,
        _extras(matched, passage),
        tuple(
            Restart(
                at_s=float(went.at_s),
                to_beat=float(matched.events[went.to_event].beat),
                from_beat=_end_beat(matched.events[went.from_event], passage),
            )
            for went in matched.goings
        ),
        tuple(passage.notes[i].id for i in sorted(unsure)),
        tuple(e.notes[0] for e in played),
        np.full(len(played), onset_error_s),
        timed.fit,
        timed.off_s,
        tuning_cents,
        grid_error_s=0.0 if grid is None else grid.error_s,
        timed_by=timed_by,
    )


def _end_beat(event: PlayedGroup, passage: Passage) -> float:
    return float(min(passage.notes[i].end_beats for i in event.notes))


def _cuts(matched: Matched, played: Sequence[PlayedGroup]) -> list[int]:
    """Places among the played events to which the player went back."""
    first_of = {e.notes[0]: k for k, e in enumerate(matched.events)}
    return [
        k
        for went in matched.goings
        for k, e in enumerate(played)
        if first_of[e.notes[0]] == went.to_event
    ]


def _timed(
    matched: Matched, played: Sequence[PlayedGroup], cuts: Sequence[int], error_s: float,
    grid: Grid | None,
) -> _Timed:  # fmt: skip
    times = np.array([_time_of(matched, e.notes) for e in played])
    beats = np.array([e.beat for e in played])
    fit = fit_tempo(beats, times, cuts) if len(played) else None
    off = np.zeros(0) if fit is None else fit.deviations_s
    if fit is not None and grid is not None:
        off = against_click(beats, times, cuts, grid)
    place = {i: k for k, e in enumerate(played) for i in e.notes}
    return _Timed(times, place, fit, off, error_s)


def _time_of(matched: Matched, notes: Sequence[int]) -> float:
    """When a chord was struck: the middle of its keys."""
    return float(np.median([matched.played[i].onset_s for i in notes if i in matched.played]))


def _unsure_note(note: PassageNote) -> NoteEvidence:
    return of_written(note, NoteStatus.RIGHT, confidence=0.4, words=CANNOT_TELL)


def _note(
    passage: Passage, i: int, matched: Matched, timed: _Timed, *, unsure: bool
) -> NoteEvidence:
    note = passage.notes[i]
    press = matched.played.get(i)
    if press is None:
        return of_written(note, NoteStatus.MISSED, words="not played")
    wrong = i in matched.wrong
    late_ms, displaced, apart_s = _lateness(press, i, timed)
    words = f"{note.name} was played as {passage.name_as_read(press.pitch)}" if wrong else ""
    if displaced and late_ms is not None and not wrong:
        words = _late_words(late_ms, apart_s)
    return of_written(
        note, NoteStatus.WRONG if wrong else NoteStatus.RIGHT,
        onset_s=float(press.onset_s), offset_s=float(press.offset_s), pitch=float(press.pitch),
        deviation_ms=late_ms, displaced=displaced and not unsure, confidence=0.4 if unsure else 1.0,
        words=CANNOT_TELL if unsure else words,
    )  # fmt: skip


def _late_words(late_ms: float, apart_s: float) -> str:
    if apart_s:
        turn = "after" if apart_s > 0 else "before"
        return f"{abs(1e3 * apart_s):.0f} ms {turn} the rest of its chord"
    return f"{abs(late_ms):.0f} ms {'late' if late_ms > 0 else 'early'}"


def _lateness(press: MidiNote, i: int, timed: _Timed) -> tuple[float | None, bool, float]:
    """Milliseconds late; whether clearly displaced; seconds apart from its chord, 0 if together."""
    k, fit = timed.place.get(i), timed.fit
    if fit is None or k is None:
        return None, False, 0.0
    own = float(fit.deviations_s[k])
    least = least_displaced_s(timed.error_s, float(fit.spread_s[k]))
    from_chord = press.onset_s - float(timed.times[k])
    apart = from_chord if abs(from_chord) > TOGETHER_S + timed.error_s else 0.0
    late_ms = 1e3 * (float(timed.off_s[k]) + from_chord)
    return late_ms, abs(own) > least or apart != 0.0, apart


def _extras(matched: Matched, passage: Passage) -> tuple[NoteEvidence, ...]:
    return tuple(
        NoteEvidence(
            id=f"extra-{k + 1}", status=NoteStatus.EXTRA,
            onset_s=float(p.onset_s), offset_s=float(p.offset_s), pitch=float(p.pitch),
            words=f"an extra {passage.name_as_read(p.pitch)}",
        )
        for k, (_, p) in enumerate(matched.extras)
    )  # fmt: skip
