"""How each kind of test reads: in a criterion's question, and as a line of the editor.

One row of `WORDS` for each kind; nothing else words a test before it is judged.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from coldtake.domain.criterion import (
    AnyTest,
    ChangesTest,
    ConditionsTest,
    Criterion,
    CriterionTest,
    EvennessTest,
    NoStopsTest,
    NotesTest,
    OwnQuestionTest,
    RhythmTest,
    SteadinessTest,
    TempoTest,
    TimingTest,
    TuneTest,
)
from coldtake.units import tempo_mark

BEAT_UNITS = {0.5: "eighth", 1.0: "quarter", 1.5: "dotted quarter", 2.0: "half"}


@dataclass(frozen=True, slots=True)
class Wording:
    """The words of one kind of test.

    asks : a test as part of the question
    editor : its line in the editor, {field} standing for a threshold; further lines belong to it
    labels : each threshold by its name, read aloud, and in what is said of a wrong entry
    choices : the names of a threshold's values, where it is chosen and not entered
    """

    asks: Callable[[Any], str]
    editor: str = ""
    labels: Mapping[str, str] = field(default_factory=dict)
    choices: Mapping[str, Mapping[float, str]] = field(default_factory=dict)


def _tempo(test: TempoTest) -> str:
    mark = tempo_mark(test.beat_unit_beats, f"{test.mark:g}")
    if test.within_percent is None:
        return f"at {mark} or faster"
    return f"at {mark} ± {test.within_percent:g}%"


def _notes(test: NotesTest) -> str:
    if test.allowed == 0:
        return "every note right"
    return f"at most {test.allowed} wrong, missed or extra note{'s' if test.allowed > 1 else ''}"


def _timing(test: TimingTest) -> str:
    return f"{test.share_percent:g}% of the notes within {test.tolerance_ms:g} ms"


def _tune(test: TuneTest) -> str:
    return f"{test.share_percent:g}% of the notes in tune within {test.tolerance_cents:g} cents"


def _rhythm(test: RhythmTest) -> str:
    said = f"{test.share_percent:g}% of the note lengths within {test.tolerance_percent:g}%"
    return said if test.swing is None else f"{said}, eighths swung {test.swing:g} to 1"


def _changes(test: ChangesTest) -> str:
    """What is asked of the improvisation, each part only where it is asked."""
    times = "one chorus" if test.choruses == 1 else f"{test.choruses} choruses"
    scale = "the simplest scale" if test.simplest else "a scale"
    asked = (
        (test.in_scale_percent, f"{{:g}}% of the sound in {scale} of the chord"),
        (test.strong_beats_percent, "{:g}% chord tones on strong beats"),
        (test.arrivals_percent, "{:g}% of the chord changes met by a third or seventh"),
        (test.silence_beats, "no silence longer than {:g} beats"),
        (test.phrase_beats, "no phrase longer than {:g} beats"),
        (test.least_per_bar, "at least {:g} notes per bar"),
        (test.most_per_bar, "at most {:g} notes per bar"),
    )
    said = [words.format(value) for value, words in asked if value is not None]
    if test.lowest is not None or test.highest is not None:
        said.append("within the chosen range")
    return ", ".join([times, *said])


def _own_question(test: OwnQuestionTest) -> str:
    return test.question.rstrip("?. ")


WORDS: Mapping[type[CriterionTest], Wording] = {
    NotesTest: Wording(
        _notes,
        "every note right; at most {allowed} wrong, missed or extra",
        {"allowed": "wrong, missed or extra notes allowed"},
    ),
    NoStopsTest: Wording(
        lambda _: "without stopping",
        "without stopping longer than {hesitation_beats} beats",
        {"hesitation_beats": "longest stop in beats"},
    ),
    TempoTest: Wording(
        _tempo,
        "at tempo {beat_unit_beats} = {mark} or faster; or within {within_percent} % of it",
        {
            "beat_unit_beats": "beat unit",
            "mark": "beats per minute",
            "within_percent": "within percent of the tempo, empty for at least",
        },
        {"beat_unit_beats": BEAT_UNITS},
    ),
    TimingTest: Wording(
        _timing,
        "in time: {share_percent} % of the notes within {tolerance_ms} ms",
        {"share_percent": "percent of the notes in time", "tolerance_ms": "milliseconds"},
    ),
    SteadinessTest: Wording(
        lambda test: f"tempo steady within {test.change_percent:g}%",
        "a steady tempo, changing at most {change_percent} %",
        {"change_percent": "percent of tempo change"},
    ),
    EvennessTest: Wording(
        lambda test: f"even within {test.deviation_ms:g} ms",
        "evenly, within {deviation_ms} ms",
        {"deviation_ms": "milliseconds of unevenness"},
    ),
    TuneTest: Wording(
        _tune,
        "in tune: {share_percent} % of the notes within {tolerance_cents} cents",
        {
            "share_percent": "percent of the notes in tune",
            "tolerance_cents": "cents",
            "a4_hz": "A4 in hertz",
        },
    ),
    RhythmTest: Wording(
        _rhythm,
        "note lengths as written: {share_percent} % of them within {tolerance_percent} %; "
        "eighths swung {swing} to 1 within {swing_within_percent} %",
        {
            "share_percent": "percent of the note lengths",
            "tolerance_percent": "percent of the written length",
            "swing": "long eighth against short, empty for as written",
            "swing_within_percent": "percent of the swing ratio",
        },
    ),
    ChangesTest: Wording(
        _changes,
        "improvised over the changes, for {choruses} choruses:\n"
        "{in_scale_percent} % of the sound in a scale of the chord {simplest}\n"
        "{strong_beats_percent} % chord tones on strong beats\n"
        "{arrivals_percent} % of the chord changes met by a third or seventh within a beat\n"
        "silent for at most {silence_beats} beats, no phrase longer than {phrase_beats} beats\n"
        "at least {least_per_bar} and at most {most_per_bar} notes a bar\n"
        "from {lowest} up to {highest} as written for your instrument. "
        "Empty fields are not tested.",
        {
            "choruses": "choruses",
            "in_scale_percent": "percent of the sound in a scale of the chord",
            "simplest": "in its simplest scale",
            "strong_beats_percent": "percent of chord tones on strong beats",
            "arrivals_percent": "percent of chord changes met by a third or seventh",
            "silence_beats": "longest silence in beats",
            "phrase_beats": "longest phrase in beats",
            "least_per_bar": "least notes a bar",
            "most_per_bar": "most notes a bar",
            "lowest": "lowest written note",
            "highest": "highest written note",
        },
    ),
    OwnQuestionTest: Wording(_own_question, "a question that only you can answer"),
    ConditionsTest: Wording(lambda test: ", ".join(test.stated)),
}


def words_of(test: AnyTest) -> str:
    """Say one test as part of a yes/no question."""
    return WORDS[type(test)].asks(test)


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
