"""A criterion: a conjunction of tests with thresholds, or a question only the player answers.

Each test is one record; its fields are its thresholds with their units. `Times` says how often the
whole must come out. Section 4 of the design; the defaults are settings of the trade, no source.
"""

import math
from enum import StrEnum
from itertools import takewhile
from typing import Annotated, assert_never

import msgspec
from msgspec import Meta

from coldtake.units import tempo_mark

Percent = Annotated[float, Meta(ge=0, le=100)]
Positive = Annotated[float, Meta(gt=0)]
Count = Annotated[int, Meta(ge=0)]


class CriterionTest(msgspec.Struct, frozen=True, kw_only=True, tag_field="test"):
    """Base of all tests; the tag `test` names the kind."""


class NotesTest(CriterionTest, frozen=True, kw_only=True, tag="notes"):
    """At most so many wrong, missed and extra notes together."""

    allowed: Count = 0


class TempoTest(CriterionTest, frozen=True, kw_only=True, tag="tempo"):
    """Mean tempo at least `mark` beats of `beat_unit_beats` quarters a minute.

    With `within_percent` the tempo must lie within that of the mark, above and below.
    """

    mark: Annotated[float, Meta(gt=0, le=400)]
    beat_unit_beats: Positive = 1.0
    within_percent: Percent | None = None

    @property
    def bpm(self) -> float:
        """The mark in quarter notes per minute."""
        return self.mark * self.beat_unit_beats


class SteadinessTest(CriterionTest, frozen=True, kw_only=True, tag="steadiness"):
    """Tempo change from start to end at most so many percent."""

    change_percent: Percent = 6.0


class TimingTest(CriterionTest, frozen=True, kw_only=True, tag="timing"):
    """At least `share_percent` of the notes within `tolerance_ms` of the grid or fitted tempo."""

    tolerance_ms: Positive = 50.0
    share_percent: Percent = 90.0


class EvennessTest(CriterionTest, frozen=True, kw_only=True, tag="evenness"):
    """Standard deviation of inter-onset deviations at most so many ms."""

    deviation_ms: Positive = 25.0


class TuneTest(CriterionTest, frozen=True, kw_only=True, tag="tune"):
    """At least `share_percent` of the notes within `tolerance_cents` of the tuning (A4 in Hz)."""

    tolerance_cents: Positive = 25.0
    share_percent: Percent = 90.0
    a4_hz: Annotated[float, Meta(ge=392, le=466)] = 440.0


class NoStopsTest(CriterionTest, frozen=True, kw_only=True, tag="no_stops"):
    """No hesitation longer than so many beats beyond the written time, and no restart."""

    hesitation_beats: Positive = 1.0


class RhythmTest(CriterionTest, frozen=True, kw_only=True, tag="rhythm"):
    """At least `share_percent` of the times from note to note as written, within a tolerance.

    tolerance_percent : of each written time, at the player's own tempo there
    swing : long eighth against short one that is asked; None: eighths as written
    swing_within_percent : of that ratio, above and below
    """

    tolerance_percent: Annotated[float, Meta(gt=0, le=100)] = 20.0
    share_percent: Percent = 90.0
    swing: Annotated[float, Meta(ge=1, le=4)] | None = None
    swing_within_percent: Annotated[float, Meta(gt=0, le=100)] = 20.0


MidiNumber = Annotated[int, Meta(ge=0, le=127)]


class ChangesTest(CriterionTest, frozen=True, kw_only=True, tag="changes"):
    """Improvising over the chord symbols of the passage; what is None is not asked.

    choruses : so many times through the changes, which belong to the take
    in_scale_percent : of the sounded time inside a scale of the chord, at least
    simplest : only the simplest scale of each chord counts, not any scale that holds it
    strong_beats_percent : of the notes on strong beats that are chord tones, at least
    arrivals_percent : of the chord changes at which a third or seventh of the new chord sounds
    within a beat, at least
    silence_beats : longest silence, at most; phrase_beats : longest phrase, at most
    least_per_bar, most_per_bar : notes in a bar, on average
    lowest, highest : MIDI numbers as the player reads them
    """

    choruses: Annotated[int, Meta(ge=1, le=12)] = 1
    in_scale_percent: Percent | None = 85.0
    simplest: bool = False
    strong_beats_percent: Percent | None = None
    arrivals_percent: Percent | None = None
    silence_beats: Positive | None = 8.0
    phrase_beats: Positive | None = None
    least_per_bar: Positive | None = None
    most_per_bar: Positive | None = None
    lowest: MidiNumber | None = None
    highest: MidiNumber | None = None


class ConditionsTest(CriterionTest, frozen=True, kw_only=True, tag="conditions"):
    """Stated by the player: from memory, standing, in front of somebody."""

    stated: tuple[str, ...]


class OwnQuestionTest(CriterionTest, frozen=True, kw_only=True, tag="own_question"):
    """A yes/no question only the player can answer."""

    question: str


AnyTest = (
    NotesTest
    | TempoTest
    | SteadinessTest
    | TimingTest
    | EvennessTest
    | TuneTest
    | NoStopsTest
    | RhythmTest
    | ChangesTest
    | ConditionsTest
    | OwnQuestionTest
)
PlayerTest = ConditionsTest | OwnQuestionTest


class CriterionKind(StrEnum):
    """The tag of every test, in the order in which a question that was asked for says them."""

    NOTES = "notes"
    NO_STOPS = "no_stops"
    TEMPO = "tempo"
    TIMING = "timing"
    STEADINESS = "steadiness"
    EVENNESS = "evenness"
    TUNE = "tune"
    RHYTHM = "rhythm"
    CHANGES = "changes"
    OWN_QUESTION = "own_question"
    CONDITIONS = "conditions"


class Times(msgspec.Struct, frozen=True, kw_only=True):
    """How often: `wanted` yeses in a row, or among the last `among` tries."""

    wanted: Annotated[int, Meta(ge=1, le=50)] = 1
    among: Annotated[int, Meta(ge=1, le=100)] | None = None


class Criterion(msgspec.Struct, frozen=True, kw_only=True):
    """All tests must pass, `times` times; an empty list of tests is never valid.

    rhythm_only : pitches are not looked at: clapped, on drums, on muted strings
    """

    tests: Annotated[tuple[AnyTest, ...], Meta(min_length=1)]
    times: Times = Times()
    rhythm_only: bool = False

    @property
    def heard(self) -> tuple[AnyTest, ...]:
        """The tests that a listener can measure."""
        return tuple(t for t in self.tests if not isinstance(t, PlayerTest))

    @property
    def changes(self) -> ChangesTest | None:
        """What is asked of an improvisation; None where something written is played."""
        return next((t for t in self.tests if isinstance(t, ChangesTest)), None)


def _number(value: float) -> str:
    return f"{value:g}"


def _tempo_words(test: TempoTest) -> str:
    mark = tempo_mark(test.beat_unit_beats, _number(test.mark))
    if test.within_percent is None:
        return f"at {mark} or faster"
    return f"at {mark} ± {_number(test.within_percent)}%"


def _notes_words(test: NotesTest) -> str:
    if test.allowed == 0:
        return "every note right"
    return f"at most {test.allowed} wrong, missed or extra note{'s' if test.allowed > 1 else ''}"


def _share_words(test: TimingTest | TuneTest) -> str:
    if isinstance(test, TimingTest):
        within = f"within {_number(test.tolerance_ms)} ms"
    else:
        within = f"in tune within {_number(test.tolerance_cents)} cents"
    return f"{_number(test.share_percent)}% of the notes {within}"


def _rhythm_words(test: RhythmTest) -> str:
    said = f"{_number(test.share_percent)}% of the note lengths within "
    said += f"{_number(test.tolerance_percent)}%"
    return said if test.swing is None else f"{said}, eighths swung {_number(test.swing)} to 1"


def _changes_words(test: ChangesTest) -> str:
    """What is asked of the improvisation, each part only where it is asked."""
    times = "one chorus" if test.choruses == 1 else f"{test.choruses} choruses"
    scale = "the simplest scale" if test.simplest else "a scale"
    asked = (
        (test.in_scale_percent, f"{{}}% of the sound in {scale} of the chord"),
        (test.strong_beats_percent, "{}% chord tones on strong beats"),
        (test.arrivals_percent, "{}% of the chord changes met by a third or seventh"),
        (test.silence_beats, "no silence longer than {} beats"),
        (test.phrase_beats, "no phrase longer than {} beats"),
        (test.least_per_bar, "at least {} notes per bar"),
        (test.most_per_bar, "at most {} notes per bar"),
    )
    said = [words.format(_number(value)) for value, words in asked if value is not None]
    if test.lowest is not None or test.highest is not None:
        said.append("within the chosen range")
    return ", ".join([times, *said])


def words_of(test: AnyTest) -> str:
    """Say one test as part of a yes/no question."""
    match test:
        case NotesTest():
            return _notes_words(test)
        case TempoTest():
            return _tempo_words(test)
        case TimingTest() | TuneTest():
            return _share_words(test)
        case RhythmTest():
            return _rhythm_words(test)
        case ChangesTest():
            return _changes_words(test)
        case ConditionsTest(stated=words):
            return ", ".join(words)
        case OwnQuestionTest(question=text):
            return text.rstrip("?. ")
        case SteadinessTest() | EvennessTest() | NoStopsTest():
            return _steady_words(test)
        case _:
            assert_never(test)


def _steady_words(test: SteadinessTest | EvennessTest | NoStopsTest) -> str:
    match test:
        case SteadinessTest(change_percent=p):
            return f"tempo steady within {_number(p)}%"
        case EvennessTest(deviation_ms=ms):
            return f"even within {_number(ms)} ms"
        case NoStopsTest():
            return "without stopping"


def question(criterion: Criterion) -> str:
    """Say the whole criterion as one question answered yes or no.

    What only the player can answer stands after what is measured, as a question of its own.
    """
    own = [words_of(t) for t in criterion.tests if isinstance(t, OwnQuestionTest)]
    body = ", ".join(words_of(t) for t in criterion.tests if not isinstance(t, OwnQuestionTest))
    if body and criterion.rhythm_only:
        body = f"only the rhythm: {body}"
    asked = [body, *own] if body else own
    times = criterion.times
    if times.among is not None:
        asked[-1] += f", {times.wanted} of {times.among} times"
    elif times.wanted > 1:
        asked[-1] += f", {times.wanted} times in a row"
    return " ".join(words[:1].upper() + words[1:] + "?" for words in asked)


def passed(times: Times, answers: tuple[bool, ...]) -> bool:
    """Say whether a series of answers, oldest first, ends with the criterion passed."""
    if times.among is not None:
        return sum(answers[-times.among :]) >= times.wanted
    return sum(1 for _ in takewhile(bool, reversed(answers))) >= times.wanted


def lucky_pass_chance(times: Times, chance: float, tries: int) -> float:
    """Chance that a passage coming out with `chance` passes "k in a row" within `tries` tries."""
    return (0.0, *lucky_pass_chances(times, chance, tries))[-1]


def lucky_pass_chances(times: Times, chance: float, most: int) -> tuple[float, ...]:
    """Return the same for 1, 2, ... `most` tries.

    Exact recursion on the length of the current run (Feller, An Introduction to Probability
    Theory and Its Applications, vol. I, ch. XIII.7). 0 <= chance <= 1; only for runs.
    """
    run = [0.0] * times.wanted
    run[0] = 1.0
    done, told = 0.0, []
    for _ in range(most):
        done += run[-1] * chance
        run = [math.fsum(run) * (1.0 - chance), *(r * chance for r in run[:-1])]
        told.append(done)
    return tuple(told)
