"""The criterion editor: form fields to tests and back.

Each test has a tick and its thresholds as fields named `test` or `test_threshold`.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import assert_never

from coldtake.domain.criterion import (
    AnyTest,
    ChangesTest,
    ConditionsTest,
    Criterion,
    CriterionKind,
    EvennessTest,
    NoStopsTest,
    NotesTest,
    OwnQuestionTest,
    RhythmTest,
    SteadinessTest,
    TempoTest,
    Times,
    TimingTest,
    TuneTest,
)
from coldtake.errors import RuleError
from coldtake.units import METRONOME_MARKS
from coldtake.web.forms import criteria_changes as over
from coldtake.web.forms import form_fields

Form = Mapping[str, str]
BEAT_UNITS = {
    0.5: "eighth",
    1.0: "quarter",
    1.5: "dotted quarter",
    2.0: "half",
}
PLAYER_TESTS = (ConditionsTest, OwnQuestionTest)
CONDITIONS = ("from memory", "standing", "in front of somebody")
FIRST_GUESS: dict[str, str] = {
    "notes_allowed": "0",
    "tempo_mark": "72",
    "tempo_unit": "1",
    "tempo_within": "",
    "timing_ms": "50",
    "timing_share": "90",
    "steadiness_percent": "6",
    "evenness_ms": "25",
    "tune_cents": "25",
    "tune_share": "90",
    "no_stops_beats": "1",
    "own_words": "",
    "conditions_more": "",
    "times_wanted": "1",
    "times_among": "",
    "rhythm_only": "",
    **over.FIRST_GUESS,
}


@dataclass(frozen=True, slots=True)
class Editor:
    """What the editor shows: which tests are ticked, and the text in every field."""

    ticked: frozenset[str]
    fields: Mapping[str, str]
    stated: frozenset[str]
    marks: tuple[int, ...] = METRONOME_MARKS
    units: tuple[tuple[float, str], ...] = tuple(BEAT_UNITS.items())
    conditions: tuple[str, ...] = CONDITIONS


def first_criterion(tempo_bpm: float | None = None) -> Criterion:
    """Return what is asked of a step until the player asks something else."""
    from coldtake.listening.melody.judge import default_criterion

    return default_criterion(tempo_bpm)


def _notes(form: Form) -> NotesTest:
    return NotesTest(
        allowed=form_fields.whole(
            form.get("notes_allowed", "0"), "notes allowed to be wrong", 0, 100
        )
    )


def _tempo(form: Form) -> TempoTest:
    within = form_fields.maybe_number(form.get("tempo_within", ""), "tempo within", 0, 100, "%")
    return TempoTest(
        mark=form_fields.number(form.get("tempo_mark", ""), "tempo mark", 10, 400),
        beat_unit_beats=form_fields.number(form.get("tempo_unit", "1"), "beat unit", 0.125, 8),
        within_percent=within,
    )


def _timing(form: Form) -> TimingTest:
    return TimingTest(
        tolerance_ms=form_fields.number(form.get("timing_ms", ""), "timing", 1, 1000, "ms"),
        share_percent=form_fields.number(
            form.get("timing_share", ""), "share of notes", 0, 100, "%"
        ),
    )


def _steadiness(form: Form) -> SteadinessTest:
    text = form.get("steadiness_percent", "")
    return SteadinessTest(change_percent=form_fields.number(text, "steady tempo", 0, 100, "%"))


def _evenness(form: Form) -> EvennessTest:
    text = form.get("evenness_ms", "")
    return EvennessTest(deviation_ms=form_fields.number(text, "evenness", 1, 1000, "ms"))


def _tune(form: Form) -> TuneTest:
    return TuneTest(
        tolerance_cents=form_fields.number(form.get("tune_cents", ""), "in tune", 1, 100, "cents"),
        share_percent=form_fields.number(form.get("tune_share", ""), "share of notes", 0, 100, "%"),
    )


def _no_stops(form: Form) -> NoStopsTest:
    text = form.get("no_stops_beats", "1")
    return NoStopsTest(hesitation_beats=form_fields.number(text, "longest stop", 0.1, 64, "beats"))


def _own(form: Form) -> OwnQuestionTest:
    remedy = "Enter a question that you answer with yes or no."
    return OwnQuestionTest(
        question=form_fields.line(form.get("own_words", ""), "own question", remedy)
    )


def _conditions(form: Form) -> ConditionsTest | None:
    ticked = [c for c in CONDITIONS if form.get(f"condition {c}")]
    more = [" ".join(m.split()) for m in form.get("conditions_more", "").split(",")]
    stated = tuple(dict.fromkeys(c for c in [*ticked, *more] if c))
    return ConditionsTest(stated=stated) if stated else None


def _read(kind: CriterionKind, form: Form) -> AnyTest | None:
    """Read one test; None where it is not asked. Conditions have ticks of their own."""
    if kind is not CriterionKind.CONDITIONS and not form.get(kind):
        return None
    return _reader(kind)(form)


def _reader(kind: CriterionKind) -> Callable[[Form], AnyTest | None]:  # noqa: C901 - a table
    match kind:
        case CriterionKind.NOTES:
            return _notes
        case CriterionKind.NO_STOPS:
            return _no_stops
        case CriterionKind.TEMPO:
            return _tempo
        case CriterionKind.TIMING:
            return _timing
        case CriterionKind.STEADINESS:
            return _steadiness
        case CriterionKind.EVENNESS:
            return _evenness
        case CriterionKind.TUNE:
            return _tune
        case CriterionKind.RHYTHM:
            return over.read_rhythm
        case CriterionKind.CHANGES:
            return over.read_changes
        case CriterionKind.OWN_QUESTION:
            return _own
        case CriterionKind.CONDITIONS:
            return _conditions
        case _:
            assert_never(kind)


def _times(form: Form) -> Times:
    wanted = form_fields.whole(form.get("times_wanted") or "1", "how often", 1, 50, "times")
    among = form_fields.maybe_whole(form.get("times_among", ""), "out of how many", 1, 100, "tries")
    if among is not None and among < wanted:
        raise RuleError(
            f"{wanted} yes answers out of {among} tries is not possible.",
            where="how often",
            remedy="Enter fewer yes answers or more tries.",
        )
    return Times(wanted=wanted, among=among)


def read_criterion(form: Form) -> Criterion:
    """Read the editor. Raises InputError naming the field that cannot be read."""
    asked = (_read(kind, form) for kind in CriterionKind)
    tests = tuple(test for test in asked if test is not None)
    if not tests:
        raise RuleError(
            "A criterion needs at least one test.",
            where="criterion",
            remedy="Select one, or enter your own question.",
        )
    kinds = {type(t) for t in tests}
    if ChangesTest in kinds and not kinds <= {ChangesTest, TempoTest, *PLAYER_TESTS}:
        raise RuleError(
            "For improvising there are no written notes to compare with.",
            where="criterion",
            remedy="With changes you can use only tempo, conditions and your own question.",
        )
    alone = bool(form.get("rhythm_only")) and ChangesTest not in kinds
    return Criterion(tests=tests, times=_times(form), rhythm_only=alone)


def _fields(test: AnyTest) -> dict[str, str]:  # noqa: C901 - a table
    match test:
        case ChangesTest():
            return over.changes_fields(test)
        case RhythmTest():
            return over.rhythm_fields(test)
        case NotesTest(allowed=allowed):
            return {"notes_allowed": str(allowed)}
        case TempoTest(mark=mark, beat_unit_beats=unit, within_percent=within):
            text = "" if within is None else f"{within:g}"
            return {"tempo_mark": f"{mark:g}", "tempo_unit": f"{unit:g}", "tempo_within": text}
        case TimingTest(tolerance_ms=ms, share_percent=share):
            return {"timing_ms": f"{ms:g}", "timing_share": f"{share:g}"}
        case SteadinessTest(change_percent=percent):
            return {"steadiness_percent": f"{percent:g}"}
        case EvennessTest(deviation_ms=ms):
            return {"evenness_ms": f"{ms:g}"}
        case TuneTest(tolerance_cents=cents, share_percent=share):
            return {"tune_cents": f"{cents:g}", "tune_share": f"{share:g}"}
        case NoStopsTest(hesitation_beats=beats):
            return {"no_stops_beats": f"{beats:g}"}
        case OwnQuestionTest(question=words):
            return {"own_words": words}
        case ConditionsTest(stated=stated):
            return {"conditions_more": ", ".join(s for s in stated if s not in CONDITIONS)}
        case _:
            assert_never(test)


def editor_of(criterion: Criterion) -> Editor:
    """Fill the editor with a criterion."""
    fields = dict(FIRST_GUESS)
    stated: set[str] = set()
    for test in criterion.tests:
        fields |= _fields(test)
        if isinstance(test, ConditionsTest):
            stated |= set(test.stated) & set(CONDITIONS)
    among = criterion.times.among
    fields |= {
        "times_wanted": str(criterion.times.wanted),
        "times_among": "" if among is None else str(among),
        "rhythm_only": "1" if criterion.rhythm_only else "",
    }
    ticked = {str(t.__struct_config__.tag) for t in criterion.tests}
    return Editor(frozenset(ticked), fields, frozenset(stated))
