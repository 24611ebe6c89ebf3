"""Technique: patterns over keys, each written out for the instrument."""

import msgspec

from coldtake.domain.criterion import (
    AnyTest,
    Criterion,
    EvennessTest,
    NoStopsTest,
    NotesTest,
    OwnQuestionTest,
    TimingTest,
    TuneTest,
)
from coldtake.domain.topic import Exercise
from coldtake.music.instruments import Instrument, instrument_named
from coldtake.music.keys import Key, read_key, twelve_keys, usual
from coldtake.music.patterns import Pattern, pattern_abc
from coldtake.music.scales import scale_named
from coldtake.practice.proposals.asks import Proposal, TechniqueAsk
from coldtake.practice.proposals.laying import LEAST_MIN, Laying, Pace, at_tempo, click, pace

_FEW = 4  # keys, up to which each gets a slow step of its own
_KEY_MIN, _SIGN_MIN = 14, 2  # minutes for a key, and for each sharp or flat: guesses
_EVENNESS_MS = 25.0
_ALL_MIN_PER_KEY = 3


def propose(topic_id: str, ask: TechniqueAsk) -> Proposal:
    """Lay out patterns over keys. Raises InputError for what cannot be written."""
    instrument = instrument_named(ask.instrument)
    keys = _keys(ask, instrument)
    laying = Laying(topic_id, ask)
    for rule in ask.rules:
        for rhythm in ("",) if rule == "long tones" else ask.rhythms:
            for articulation in _articulations(ask, rule):
                own = msgspec.structs.replace(ask, articulation=articulation)
                _over_keys(laying, own, keys, rule, rhythm)
    return laying.proposal(*_rests_on(ask, instrument, keys))


def _articulations(ask: TechniqueAsk, rule: str) -> tuple[str, ...]:
    """Each asked for; a long tone has none."""
    return ask.articulations if ask.articulations and rule != "long tones" else (ask.articulation,)


def _keys(ask: TechniqueAsk, instrument: Instrument) -> tuple[Key, ...]:
    """The keys as the instrument reads them."""
    mode = scale_named(ask.scale).mode
    if ask.keys:
        asked = tuple(usual(read_key(name).tonic, mode) for name in ask.keys)
    else:
        asked = twelve_keys(ask.order, mode, seed=ask.seed)
    return tuple(instrument.written_key(key) for key in asked) if ask.concert else asked


def _over_keys(
    laying: Laying, ask: TechniqueAsk, keys: tuple[Key, ...], rule: str, rhythm: str
) -> None:
    """One pattern through all keys, then the keys one after another."""
    ends = []
    for key in keys:
        pattern = _pattern(ask, key, rule, rhythm)
        most = 2 if len(keys) <= _FEW and rule != "long tones" else 1
        ends.append(_one_key(laying, ask, pattern, most))
    if len(keys) > 1:
        names = ", ".join(str(key.tonic) for key in keys)
        what = _what(ask, rule, rhythm)
        laying.step(
            f"{what}: all keys in a row",
            Criterion(tests=(OwnQuestionTest(question=f"Did {names} come without a stop?"),)),
            Exercise(words=f"In this order: {names}", tempo_bpm=ask.goal_bpm),
            max(8, _ALL_MIN_PER_KEY * len(keys)),
            tuple(ends),
        )


def _what(ask: TechniqueAsk, rule: str, rhythm: str) -> str:
    parts = [ask.scale, "" if rule == "scale" else rule, "" if rhythm == "eighths" else rhythm]
    parts.append("" if ask.articulation == "as it comes" else ask.articulation)
    return ", ".join(part for part in parts if part).capitalize()


def _pattern(ask: TechniqueAsk, key: Key, rule: str, rhythm: str) -> Pattern:
    return Pattern(
        rule=rule,
        tonic=key.tonic,
        scale=ask.scale,
        rhythm=rhythm or "eighths",
        metre=ask.metre,
        articulation=ask.articulation,
        instrument=ask.instrument,
        octaves=ask.octaves,
        low=ask.low,
        high=ask.high,
        tempo_bpm=ask.goal_bpm,
    )


def _one_key(laying: Laying, ask: TechniqueAsk, pattern: Pattern, most: int) -> str:
    rhythm = "" if pattern.rhythm == "eighths" else f", {pattern.rhythm}"
    plain = pattern.articulation == "as it comes"
    title = pattern.title + rhythm + ("" if plain else f", {pattern.articulation}")
    ref, passage = laying.passage(title, pattern_abc(pattern))
    unit = passage.tempi[0].beat_unit_beats if passage.tempi else 1.0
    way = pace(ask.goal_bpm, ask.clean_bpm, unit)
    rungs = way.rungs(most)
    minutes = _KEY_MIN + _SIGN_MIN * abs(pattern.key.fifths)
    last = ""
    for mark in rungs:
        last = laying.step(
            f"{title} at {way.words(mark)}",
            _criterion(pattern.rule, way, mark),
            Exercise(
                passage=ref,
                tempo_bpm=mark * unit,
                key=str(pattern.key),
                words="" if pattern.rule == "long tones" else way.way_to(mark),
                click=click(passage, unit),
            ),
            max(LEAST_MIN, round(minutes / len(rungs))),
            (last,) if last else (),
        )
    return last


def _criterion(rule: str, way: Pace, mark: float) -> Criterion:
    """Long tones ask for the tuning, one repeated note for the rhythm, the rest for evenness."""
    if rule == "long tones":
        return Criterion(tests=(NotesTest(), NoStopsTest(), TuneTest()))
    more: AnyTest = TimingTest() if rule == "one note" else EvennessTest(deviation_ms=_EVENNESS_MS)
    return at_tempo(way, mark, more)


def _published(instrument: Instrument) -> str:
    """Where the usual range comes from."""
    if instrument.widest is None:
        return " after common practice, no source"
    return ", within the one published in Abjad 3.19 (2023)"


def _rests_on(ask: TechniqueAsk, instrument: Instrument, keys: tuple[Key, ...]) -> tuple[str, ...]:
    said = ["From pattern rules that are common practice; no source stands behind their choice."]
    if ask.low is None or ask.high is None:
        said.append(
            f"The range is a usual one of the {instrument.name}{_published(instrument)}: set your "
            "own."
        )
    if instrument.sounds.semitones:
        sounding = instrument.concert_key(keys[0])
        said.append(f"Written for the {instrument.name}: {keys[0]} on the page sounds {sounding}.")
    said.append("How long a step takes is an estimate from its sharps or flats.")
    return tuple(said)
