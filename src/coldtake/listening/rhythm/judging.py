"""The door for rhythms without pitches: strokes against the written onsets, to a verdict.

Notes written together are one stroke. A stroke far from its place is told as wrong: that is not the
written rhythm. Restarts are not looked for: without pitches one bar is like another.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from dataclasses import replace as replaced

import numpy as np
from msgspec.structs import replace

from coldtake.domain.criterion import TempoTest
from coldtake.domain.take import NoteEvidence, NoteStatus, Verdict
from coldtake.listening.features.audio_features import Floats
from coldtake.listening.features.signal_quality import Abstention, obstacle_in_sound
from coldtake.listening.features.tempo import TempoFit, against_click, fit_tempo
from coldtake.listening.judging_request import JudgingRequest
from coldtake.listening.keyboard.midi_alignment import PlayedGroup, events_of
from coldtake.listening.keyboard.midi_judge import NO_CLICK, ONSET_ERROR_S
from coldtake.listening.keyboard.midi_performance import MidiPerformance
from coldtake.listening.rhythm.matching import match
from coldtake.listening.rhythm.strokes import (
    DOUBTFUL,
    Stroke,
    Strokes,
    find_strokes,
    strokes_of_keys,
)
from coldtake.listening.sources.sound import Sound
from coldtake.listening.verdict.click_effect import ClickEffect, click_effect
from coldtake.listening.verdict.evidence import Evidence, of_written
from coldtake.listening.verdict.flags import least_displaced_s
from coldtake.listening.verdict.verdicts import (
    cannot_tell,
    decided,
    obstacle_in_notes,
    seems_another,
)
from coldtake.music.passage import Passage, PassageNote

UNKNOWN_BPM = 90.0  # where nobody says a tempo
LEAST_STROKES = 3
OUT_OF_PLACE = 0.30  # of the shorter written time beside it: no longer the written rhythm
DOUBT = 0.05  # around that it cannot be told
CLICK_S, CLICK_DB = 0.012, 14.0  # a stroke at a click and so much below the usual is its rest
NOT_SURE = "cannot tell whether it is in its place"
QUIET_ENOUGH_DB = 18.0  # people's soft strokes lie so far below their usual ones
_NO_STROKES = Abstention(
    "The recording has no clear strokes.",
    "Check that the right microphone is chosen, and move it closer.",
)


@dataclass(frozen=True, eq=False)
class _Played:
    """Which written events were struck: indices, their strokes, and the tempo fitted to them.

    quiet : so little noise that a soft stroke would have been heard
    """

    events: tuple[PlayedGroup, ...]
    strokes: tuple[Stroke, ...]
    pairs: dict[int, int]
    fit: TempoFit | None
    off_s: Floats
    quiet: bool

    @property
    def order(self) -> list[int]:
        """Struck events in order."""
        return sorted(self.pairs)

    @property
    def extras(self) -> list[Stroke]:
        """Sure strokes that stand for nothing."""
        taken = set(self.pairs.values())
        return [s for k, s in enumerate(self.strokes) if k not in taken and s.sure]


def judge_rhythm(sound: Sound, asked: JudgingRequest) -> Verdict:
    """Judge a recorded rhythm."""
    obstacle = obstacle_in_notes(asked.passage) or obstacle_in_sound(sound)
    if obstacle is not None:
        return cannot_tell(obstacle, asked.criterion, sound.remarks)
    beside = click_effect(sound, asked.click, asked.click_bpm)
    found = find_strokes(beside.sound)
    strokes = replaced(found, strokes=_without_clicks(found.strokes, beside))
    verdict = _judged(strokes, asked, (*sound.remarks, *beside.remarks), beside)
    return replace(verdict, click=beside.told)


def judge_rhythm_keys(keys: MidiPerformance, asked: JudgingRequest) -> Verdict:
    """Judge a rhythm on pads or keys."""
    obstacle = obstacle_in_notes(asked.passage)
    if obstacle is not None:
        return cannot_tell(obstacle, asked.criterion)
    strokes = Strokes(strokes_of_keys(keys.presses, ONSET_ERROR_S))
    clicked = asked.click is not None or asked.click_bpm is not None
    return _judged(strokes, asked, (), None, NO_CLICK if clicked else "")


def _usual_bpm(asked: JudgingRequest) -> float:
    click = asked.click
    clicked = None if click is None else click.bpm
    test = next((t.bpm for t in asked.criterion.tests if isinstance(t, TempoTest)), None)
    known = (clicked, asked.click_bpm, asked.tempo_bpm, test, asked.passage.written_bpm)
    return next((bpm for bpm in known if bpm), UNKNOWN_BPM)


def _without_clicks(strokes: tuple[Stroke, ...], beside: ClickEffect) -> tuple[Stroke, ...]:
    """Strokes without what may be left of the click."""
    if beside.heard is None or not strokes:
        return strokes
    usual = float(np.percentile([s.level_db for s in strokes], 75)) - CLICK_DB
    return tuple(
        s for s in strokes
        if s.level_db > usual or beside.heard.nearest_s(s.time_s) > CLICK_S
    )  # fmt: skip


def _judged(
    found: Strokes, asked: JudgingRequest, remarks: Sequence[str],
    beside: ClickEffect | None, timed_by: str = "",
) -> Verdict:  # fmt: skip
    if len(found.strokes) < LEAST_STROKES:
        return cannot_tell(_NO_STROKES, asked.criterion, remarks)
    played = _matched(found, asked, beside)
    grid = None if beside is None else beside.grid(asked.passage)
    evidence = replaced(
        _evidence(played, asked.passage),
        timed_by=timed_by if beside is None else beside.timed_by,
        grid_error_s=0.0 if grid is None else grid.error_s,
    )
    obstacle = _another(evidence, played)
    if obstacle is not None:
        return cannot_tell(obstacle, asked.criterion, remarks)
    return decided(asked.criterion, evidence, remarks, bars=asked.passage.bars, tuning_cents=None)


def _matched(found: Strokes, asked: JudgingRequest, beside: ClickEffect | None) -> _Played:
    strokes = found.strokes
    events = events_of(asked.passage)
    written, heard = [e.beat for e in events], [s.time_s for s in strokes]
    pairs = match(written, heard, [s.confidence for s in strokes], _usual_bpm(asked))
    order = sorted(pairs)
    beats = np.array([events[i].beat for i in order])
    times = np.array([strokes[pairs[i]].time_s for i in order])
    fit = fit_tempo(beats, times) if len(order) else None
    grid = None if beside is None else beside.grid(asked.passage)
    off = np.zeros(0) if fit is None else fit.deviations_s
    if fit is not None and grid is not None:
        off = against_click(beats, times, (), grid)
    return _Played(events, strokes, pairs, fit, off, found.headroom_db >= QUIET_ENOUGH_DB)


def _evidence(played: _Played, passage: Passage) -> Evidence:
    order = played.order
    place = {i: k for k, i in enumerate(order)}
    rooms = _rooms(played.events)
    notes: dict[int, NoteEvidence] = {}
    unsure: list[str] = []
    for i, event in enumerate(played.events):
        for n in event.notes:
            note = passage.notes[n]
            notes[n] = _note(note, played, i, place.get(i), rooms[i])
            if notes[n].confidence < 0.5:
                unsure.append(note.id)
    return Evidence(
        tuple(notes[n] for n in range(len(passage.notes))), _extras(played), (), tuple(unsure),
        tuple(played.events[i].notes[0] for i in order),
        np.array([played.strokes[played.pairs[i]].error_s for i in order]),
        played.fit, played.off_s, 0.0,
    )  # fmt: skip


def _rooms(events: Sequence[PlayedGroup]) -> list[float]:
    """The shorter written time beside each event [quarters]."""
    gaps = np.diff([e.beat for e in events])
    if not len(gaps):
        return [1.0] * len(events)
    left, right = np.append(np.inf, gaps), np.append(gaps, np.inf)
    return [float(x) for x in np.minimum(left, right)]


def _note(
    note: PassageNote, played: _Played, i: int, k: int | None, room_beats: float
) -> NoteEvidence:
    if k is None:
        return _unheard(note, played)
    stroke = played.strokes[played.pairs[i]]
    own, least, share = _own_place(played, k, room_beats, stroke)
    unsure = abs(share - OUT_OF_PLACE) <= DOUBT or stroke.confidence <= DOUBTFUL
    wrong, displaced = share > OUT_OF_PLACE and not unsure, abs(own) > least
    way = f"{1e3 * abs(own):.0f} ms {'late' if own > 0 else 'early'}" if displaced else ""
    words = NOT_SURE if unsure else f"{way or 'away'}: not the written rhythm" if wrong else way
    return of_written(
        note, NoteStatus.WRONG if wrong else NoteStatus.RIGHT, onset_s=float(stroke.time_s),
        deviation_ms=None if played.fit is None else 1e3 * float(played.off_s[k]),
        displaced=displaced, confidence=DOUBTFUL if unsure else stroke.confidence, words=words,
    )  # fmt: skip


def _unheard(note: PassageNote, played: _Played) -> NoteEvidence:
    """Missed; or not told, where noise would hide a soft stroke."""
    return of_written(
        note, NoteStatus.MISSED if played.quiet else NoteStatus.RIGHT,
        confidence=0.9 if played.quiet else 0.3,
        words="not heard" if played.quiet else "too much noise to tell whether it was struck",
    )  # fmt: skip


def _own_place(
    played: _Played, k: int, room_beats: float, stroke: Stroke
) -> tuple[float, float, float]:
    """(seconds off the player's own tempo, least that is displaced, share of the room)."""
    fit = played.fit
    if fit is None:
        return 0.0, np.inf, 0.0
    own = float(fit.deviations_s[k])
    least = least_displaced_s(stroke.error_s, float(fit.spread_s[k]))
    return own, least, abs(own) * float(fit.curve_bpm[k]) / 60.0 / room_beats


def _extras(played: _Played) -> tuple[NoteEvidence, ...]:
    return tuple(
        NoteEvidence(
            id=f"extra-{k + 1}",
            status=NoteStatus.EXTRA,
            onset_s=float(s.time_s),
            words="an extra stroke",
        )
        for k, s in enumerate(played.extras)
    )


def _another(evidence: Evidence, played: _Played) -> Abstention | None:
    heard = [n for n in evidence.notes if n.onset_s is not None]
    right = sum(n.status is NoteStatus.RIGHT for n in heard)
    stretch = 0
    if played.pairs:
        notes = [n for i in played.pairs for n in played.events[i].notes]
        stretch = max(notes) - min(notes) + 1
    obstacle = seems_another(right, len(evidence.notes), len(evidence.extras), stretch)
    if obstacle is None:
        return None
    return Abstention(obstacle.reason.replace("passage", "rhythm"), obstacle.remedy)
