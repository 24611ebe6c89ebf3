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
from coldtake.music.abc.notating import beat_of
from coldtake.music.exercises.patterns import OCTAVES_MOST, Pattern, octaves_of, pattern_abc
from coldtake.music.theory.instruments import Instrument, instrument_named
from coldtake.music.theory.keys import Key, read_key, twelve_keys, usual
from coldtake.music.theory.scales import scale_named
from coldtake.practice.topics.proposals.asks import STEPS_MOST, Proposal, TechniqueAsk
from coldtake.practice.topics.proposals.laying import LEAST_MIN, Laying, Pace, at_tempo, click, pace

_FEW = 4  # keys, up to which each gets a slow step of its own; a clean tempo gives one anyway
_KEY_MIN, _SIGN_MIN = 14, 2  # minutes for a key, and for each sharp or flat: guesses
_EVENNESS_MS = 25.0
_ALL_MIN_PER_KEY = 3


def propose(topic_id: str, ask: TechniqueAsk) -> Proposal:
    """Lay out patterns over keys. Raises InputError for what cannot be written."""
    instrument = instrument_named(ask.instrument)
    keys = _keys(ask, instrument)
    laying = Laying(topic_id, ask)
    found = [
        (rule, rhythm, msgspec.structs.replace(ask, articulation=articulation))
        for rule in ask.rules
        for rhythm in (("",) if rule == "long tones" else ask.rhythms)
        for articulation in _articulations(ask, rule)
    ]
    slow = _slow_steps_fit(ask, keys, len(found))
    for rule, rhythm, own in found:
        _over_keys(laying, own, keys, (rule, rhythm), slow=slow)
    return laying.proposal(*_rests_on(ask, instrument, keys, slow=slow))


def _slow_steps_fit(ask: TechniqueAsk, keys: tuple[Key, ...], patterns: int) -> bool:
    """Say whether each key gets a slow step before the one at the goal."""
    whole = patterns * (2 * len(keys) + (len(keys) > 1))
    return whole <= STEPS_MOST if ask.clean_bpm is not None else len(keys) <= _FEW


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
    laying: Laying, ask: TechniqueAsk, keys: tuple[Key, ...], what: tuple[str, str], *, slow: bool
) -> None:
    """One pattern (`what` : rule and rhythm) through all keys, then the keys one after another."""
    rule, rhythm = what
    ends = []
    for key in keys:
        pattern = _pattern(ask, key, rule, rhythm)
        most = 2 if slow and rule != "long tones" else 1
        ends.append(_one_key(laying, ask, pattern, most))
    if len(keys) > 1:
        names = ", ".join(str(key.tonic) for key in keys)
        laying.step(
            f"{_what(ask, rule, rhythm)}: all keys in a row",
            Criterion(tests=(OwnQuestionTest(question=f"Did you play {names} without a stop?"),)),
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
        octaves=ask.octaves or OCTAVES_MOST,
        low=ask.low,
        high=ask.high,
        stretched=ask.octaves is not None,
    )


def _title(pattern: Pattern) -> str:
    """Such as "B♭ major, thirds, 2 octaves, triplets, staccato"."""
    octaves = octaves_of(pattern)
    parts = [pattern.title]
    parts += [] if pattern.rule == "one note" else [f"{octaves} octave{'s' * (octaves > 1)}"]
    parts += [] if pattern.rhythm == "eighths" else [pattern.rhythm]
    parts += [] if pattern.articulation == "as it comes" else [pattern.articulation]
    return ", ".join(parts)


def _one_key(laying: Laying, ask: TechniqueAsk, pattern: Pattern, most: int) -> str:
    title = _title(pattern)
    ref, passage = laying.passage(title, pattern_abc(pattern))
    unit = float(beat_of(pattern.metre))
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


def _range_words(ask: TechniqueAsk, instrument: Instrument, keys: tuple[Key, ...]) -> list[str]:
    """Where the range comes from, and in which keys it holds fewer octaves than were asked."""
    if ask.low is not None and ask.high is not None:
        said = []
    elif instrument.widest is None:
        said = [f"The range is a usual one of the {instrument.name}; no source. Set your own."]
    else:
        how = "a usual one" if ask.octaves is None else "as wide as the octaves need"
        where = f"within the one of the {instrument.name} published in Abjad 3.19 (2023)"
        said = [f"The range is {how}, {where}. Set your own."]
    wanted = ask.octaves or 0
    found = {key: octaves_of(_pattern(ask, key, ask.rules[0], "")) for key in keys}
    fewer = [f"{key.tonic} has {octaves}" for key, octaves in found.items() if octaves < wanted]
    if fewer:
        said.append(
            f"{wanted} octaves do not fit in every key: {', '.join(fewer)}. A higher highest note "
            "or a lower lowest one makes room."
        )
    return said


def _rests_on(
    ask: TechniqueAsk, instrument: Instrument, keys: tuple[Key, ...], *, slow: bool
) -> tuple[str, ...]:
    said = ["From pattern rules that are common practice; no source stands behind their choice."]
    said += _range_words(ask, instrument, keys)
    if instrument.sounds.semitones:
        said.append(f"Written for the {instrument.name}: {instrument.sounds_as(keys[0])}.")
    if ask.clean_bpm is not None and not slow:
        said.append(
            f"With a slow step for each key there would be more than {STEPS_MOST} steps. "
            "Each step names the tempi on the way."
        )
    said.append("The time of each step is an estimate from its sharps or flats.")
    return tuple(said)
