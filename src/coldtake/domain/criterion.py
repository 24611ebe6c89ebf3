"""A criterion: a conjunction of tests with thresholds, or a question only the player answers.

Each test is one record; its fields are its thresholds with their units and limits. What words a
kind is in `criterion_words`, what measures it in `listening.verdict.measures`, by its record; the
editor, the schema of the log and the tests of completeness follow from these. `Times` says how
often the whole must come out. Section 4 of the design; the defaults are settings of the trade, no
source.
"""

import math
from itertools import takewhile
from typing import Annotated

import msgspec
from msgspec import Meta


def entered(least: float, most: float, unit: str = "", **more: object) -> Meta:
    """Say a threshold's unit and what may be entered for it; what the log may hold is wider.

    more : `first`, the value in the editor where the record has none of its own; `blank`, whether
    an empty field means that value; `pitch`, an example, where a note's name is entered
    """
    extra = {"least": least, "most": most, "unit": unit, **more}
    return Meta(extra=extra, extra_json_schema={"unit": unit} if unit else None)


USUAL_TEMPO_ROOM = 10.0  # percent: about the width of two metronome marks, up or down
Percent = Annotated[float, Meta(ge=0, le=100), entered(0, 100, "%")]
Positive = Annotated[float, Meta(gt=0)]
Count = Annotated[int, Meta(ge=0), entered(0, 100, "notes")]


class CriterionTest(msgspec.Struct, frozen=True, kw_only=True, tag_field="test"):
    """Base of all tests; the tag `test` names the kind."""


class NotesTest(CriterionTest, frozen=True, kw_only=True, tag="notes"):
    """At most so many wrong, missed and extra notes together."""

    allowed: Count = 0


class TempoTest(CriterionTest, frozen=True, kw_only=True, tag="tempo"):
    """Mean tempo at least `mark` beats of `beat_unit_beats` quarters a minute.

    With `within_percent` the tempo must lie within that of the mark, above and below.
    """

    mark: Annotated[float, Meta(gt=0, le=400), entered(10, 400, "beats per minute", first=72)]
    beat_unit_beats: Annotated[Positive, entered(0.125, 8, "quarters")] = 1.0
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

    tolerance_ms: Annotated[Positive, entered(1, 1000, "ms")] = 50.0
    share_percent: Percent = 90.0


class EvennessTest(CriterionTest, frozen=True, kw_only=True, tag="evenness"):
    """Standard deviation of inter-onset deviations at most so many ms."""

    deviation_ms: Annotated[Positive, entered(1, 1000, "ms")] = 25.0


class TuneTest(CriterionTest, frozen=True, kw_only=True, tag="tune"):
    """At least `share_percent` of the notes within `tolerance_cents` of the tuning (A4 in Hz)."""

    tolerance_cents: Annotated[Positive, entered(1, 100, "cents")] = 25.0
    share_percent: Percent = 90.0
    a4_hz: Annotated[float, Meta(ge=392, le=466), entered(392, 466, "Hz")] = 440.0


class NoStopsTest(CriterionTest, frozen=True, kw_only=True, tag="no_stops"):
    """No hesitation longer than so many beats beyond the written time, and no restart."""

    hesitation_beats: Annotated[Positive, entered(0.1, 64, "beats")] = 1.0


class RhythmTest(CriterionTest, frozen=True, kw_only=True, tag="rhythm"):
    """At least `share_percent` of the times from note to note as written, within a tolerance.

    tolerance_percent : of each written time, at the player's own tempo there
    swing : long eighth against short one that is asked; None: eighths as written
    swing_within_percent : of that ratio, above and below
    """

    tolerance_percent: Annotated[float, Meta(gt=0, le=100), entered(1, 100, "%")] = 20.0
    share_percent: Percent = 90.0
    swing: Annotated[float, Meta(ge=1, le=4), entered(1, 4, "to 1")] | None = None
    swing_within_percent: Annotated[float, Meta(gt=0, le=100), entered(1, 100, "%", blank=True)] = (
        20.0
    )


MidiNumber = Annotated[int, Meta(ge=0, le=127)]
Beats = Annotated[Positive, entered(0.1, 999, "beats")]
PerBar = Annotated[Positive, entered(0.1, 999, "notes per bar")]


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

    choruses: Annotated[int, Meta(ge=1, le=12), entered(1, 12, "choruses", blank=True)] = 1
    in_scale_percent: Percent | None = 85.0
    simplest: bool = False
    strong_beats_percent: Percent | None = None
    arrivals_percent: Percent | None = None
    silence_beats: Beats | None = 8.0
    phrase_beats: Beats | None = None
    least_per_bar: PerBar | None = None
    most_per_bar: PerBar | None = None
    lowest: Annotated[MidiNumber, entered(0, 127, pitch="C4")] | None = None
    highest: Annotated[MidiNumber, entered(0, 127, pitch="G5")] | None = None


class ConditionsTest(CriterionTest, frozen=True, kw_only=True, tag="conditions"):
    """Stated by the player: from memory, standing, in front of somebody."""

    stated: tuple[str, ...]


class OwnQuestionTest(CriterionTest, frozen=True, kw_only=True, tag="own_question"):
    """A yes/no question only the player can answer."""

    question: str


# In the order in which the editor shows them and a question that was asked for says them.
AnyTest = (
    NotesTest
    | NoStopsTest
    | TempoTest
    | TimingTest
    | SteadinessTest
    | EvennessTest
    | TuneTest
    | RhythmTest
    | ChangesTest
    | OwnQuestionTest
    | ConditionsTest
)
PlayerTest = ConditionsTest | OwnQuestionTest


def tag_of(kind: type[CriterionTest]) -> str:
    """Return the tag that names a kind of test in the log."""
    return str(kind.__struct_config__.tag)


KINDS: dict[str, type[AnyTest]] = {tag_of(kind): kind for kind in AnyTest.__args__}


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


def default_criterion(
    tempo_bpm: float | None = None, *, choruses: int | None = None, rhythm_only: bool = False
) -> Criterion:
    """Every note right and no stops; with a tempo, that tempo within 10 %.

    choruses : of an improvisation over changes; rhythm_only : pitches are not looked at
    """
    tests: tuple[AnyTest, ...] = (NotesTest(), NoStopsTest())
    if choruses is not None:
        tests = (ChangesTest(choruses=choruses),)
    elif rhythm_only:
        tests = (NotesTest(), RhythmTest())
    if tempo_bpm is not None:
        tests = (*tests, TempoTest(mark=tempo_bpm, within_percent=USUAL_TEMPO_ROOM))
    return Criterion(tests=tests, rhythm_only=rhythm_only)


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
