"""Rhythm: subdivisions, syncopation, one rhythm against another, a click that falls silent."""

import msgspec

from coldtake.domain.criterion import Criterion, NoStopsTest, NotesTest, TempoTest, TimingTest
from coldtake.domain.topic import ClickSetting, Exercise
from coldtake.errors import RuleError
from coldtake.music.abc.notating import beat_of
from coldtake.music.exercises.rhythm_work import (
    AGAINST,
    COMPOUND_STEADY,
    COMPOUND_SUBDIVISIONS,
    COMPOUND_SYNCOPATION,
    STEADY,
    SUBDIVISIONS,
    SYNCOPATION,
    RhythmLine,
    rhythm_abc,
)
from coldtake.music.theory.instruments import Instrument, instrument_named
from coldtake.practice.topics.proposals.asks import RHYTHM_PARTS, Proposal, RhythmAsk
from coldtake.practice.topics.proposals.laying import Laying, Pace, at_tempo, click, pace, shared

# Guesses, no source.
_BARS, _SILENT_BARS = 4, 16
_MINUTES = {"subdivisions": 15, "syncopation": 15, "3 against 2": 25, "4 against 3": 40}
_SILENT_MIN = 20
_WITHIN_PERCENT = 4.0  # mean tempo where the click is mostly away
SILENT = ((2, 2), (1, 3), (1, 7))  # bars with the click, bars without


def propose(topic_id: str, ask: RhythmAsk) -> Proposal:
    """Lay out rhythm work. Raises RuleError for an unknown part."""
    unknown = [part for part in ask.parts if part not in RHYTHM_PARTS]
    if unknown or not ask.parts:
        raise RuleError(
            f"“{unknown[0] if unknown else ''}” is not a known rhythm exercise.",
            remedy=f"Choose from: {', '.join(RHYTHM_PARTS)}.",
        )
    instrument = instrument_named(ask.instrument)
    laying = Laying(topic_id, ask)
    for part in RHYTHM_PARTS:
        if part in ask.parts and part != "silent click":
            _in_order(laying, ask, instrument, part)
    if "silent click" in ask.parts:
        _silent(laying, ask, instrument)
    return laying.proposal(
        "Rhythms on one note, from cells that are common practice; no source stands behind their "
        "choice.",
        "Against another rhythm: the click gives one of the two, you play the other.",
        "The time of each step is an estimate.",
    )


def _lines(part: str, *, compound: bool) -> tuple[RhythmLine, ...]:
    if part == "subdivisions":
        return COMPOUND_SUBDIVISIONS if compound else SUBDIVISIONS
    if part == "syncopation":
        return COMPOUND_SYNCOPATION if compound else SYNCOPATION
    return AGAINST[int(part[0]), int(part[-1])]


def _in_order(laying: Laying, ask: RhythmAsk, instrument: Instrument, part: str) -> None:
    """Each rhythm of a part after the one before it."""
    last = ""
    for line in _lines(part, compound=ask.compound):
        ref, passage = laying.passage(line.name, rhythm_abc(line, instrument, _BARS))
        way = _way(ask, line)
        rungs = _rungs(ask, way)
        for mark, minutes in zip(rungs, shared(_MINUTES[part], len(rungs)), strict=True):
            last = laying.step(
                f"{line.name} at {way.words(mark)}",
                at_tempo(way, mark, TimingTest()),
                Exercise(
                    passage=ref,
                    tempo_bpm=mark * way.unit,
                    words=way.way_to(mark),
                    click=click(passage, way.unit),
                ),
                minutes,
                (last,) if last else (),
                line.because,
            )


def _way(ask: RhythmAsk, line: RhythmLine) -> Pace:
    return pace(ask.goal_bpm, ask.clean_bpm, float(beat_of(line.metre)))


def _rungs(ask: RhythmAsk, way: Pace) -> tuple[float, ...]:
    """The goal, and before it the clean tempo where the player names one."""
    return way.rungs(1 if ask.clean_bpm is None else 2)


def _silent(laying: Laying, ask: RhythmAsk, instrument: Instrument) -> None:
    """Steady eighths while the click comes back less and less often."""
    line = COMPOUND_STEADY if ask.compound else STEADY
    ref, passage = laying.passage(
        "Eighths, sixteen bars", rhythm_abc(line, instrument, _SILENT_BARS)
    )
    way = _way(ask, line)
    last = ""
    for place, (on, off) in enumerate(SILENT):
        for mark in _rungs(ask, way) if place == 0 else (way.goal,):
            tempo = TempoTest(mark=mark, beat_unit_beats=way.unit, within_percent=_WITHIN_PERCENT)
            last = laying.step(
                f"Click {_bars(on)}, silent {_bars(off)}, {way.words(mark)}",
                Criterion(tests=(NotesTest(), NoStopsTest(), tempo)),
                Exercise(
                    passage=ref,
                    tempo_bpm=mark * way.unit,
                    words="Be with the click when it comes back.",
                    click=_off(click(passage, way.unit), on, off),
                ),
                _SILENT_MIN,
                (last,) if last else (),
                "you keep the pulse, not the click",
            )


def _bars(count: int) -> str:
    return "1 bar" if count == 1 else f"{count} bars"


def _off(setting: ClickSetting, on: int, off: int) -> ClickSetting:
    return msgspec.structs.replace(setting, bars_on=on, bars_off=off)
