"""The criterion editor: form fields to tests and back.

A test has a tick named by its tag; each threshold is a field named `tag_threshold`. All of it comes
from the records in `domain.criterion` and their `domain.criterion_words`; only what the player
alone answers has fields of its own.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from coldtake.domain.criterion import (
    KINDS,
    AnyTest,
    ChangesTest,
    ConditionsTest,
    Criterion,
    OwnQuestionTest,
    PlayerTest,
    TempoTest,
    Times,
    tag_of,
)
from coldtake.domain.criterion_words import WORDS
from coldtake.errors import RuleError
from coldtake.units import METRONOME_MARKS
from coldtake.web.forms import form_fields
from coldtake.web.forms.thresholds import Form, Threshold, thresholds

CONDITIONS = ("from memory", "standing", "in front of somebody")


@dataclass(frozen=True, slots=True)
class EditorLine:
    """A kind of test in the editor: rows of words and fields, and fields that are only carried."""

    tag: str
    rows: tuple[tuple[str | Threshold, ...], ...]
    carried: tuple[Threshold, ...]


def _line(tag: str, kind: type[AnyTest]) -> EditorLine:
    known = {t.key: t for t in thresholds(kind)}
    rows = tuple(
        tuple(
            known[part] if place % 2 else part.strip()
            for place, part in enumerate(re.split(r"\{(\w+)\}", row))
            if part.strip()
        )
        for row in WORDS[kind].editor.split("\n")
    )
    shown = {part for row in rows for part in row}
    return EditorLine(tag, rows, tuple(t for t in known.values() if t not in shown))


LINES = tuple(_line(tag, kind) for tag, kind in KINDS.items() if not issubclass(kind, PlayerTest))
FIRST_GUESS: dict[str, str] = {
    **{t.name: t.first for kind in KINDS.values() for t in thresholds(kind)},
    "own_words": "",
    "conditions_more": "",
    "times_wanted": "1",
    "times_among": "",
    "rhythm_only": "",
}


@dataclass(frozen=True, slots=True)
class Editor:
    """What the editor shows: which tests are ticked, and the text in every field."""

    ticked: frozenset[str]
    fields: Mapping[str, str]
    stated: frozenset[str]
    lines: tuple[EditorLine, ...] = LINES
    marks: tuple[int, ...] = METRONOME_MARKS
    conditions: tuple[str, ...] = CONDITIONS


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


def _read(kind: type[AnyTest], form: Form) -> AnyTest | None:
    """Read one test; None where it is not asked. Conditions have ticks of their own."""
    if kind is ConditionsTest:
        return _conditions(form)
    if not form.get(tag_of(kind)):
        return None
    if kind is OwnQuestionTest:
        return _own(form)
    test = kind(**{t.key: t.read(form) for t in thresholds(kind)})
    if isinstance(test, ChangesTest):
        _check_changes(test)
    return test


def _check_changes(test: ChangesTest) -> None:
    asked = [getattr(test, t.key) for t in thresholds(ChangesTest) if t.optional]
    if all(value is None for value in asked):
        raise RuleError(
            "The improvisation has no test.",
            where="changes",
            remedy="Fill in at least one field.",
        )
    if test.lowest is not None and test.highest is not None and test.lowest > test.highest:
        raise RuleError(
            "The lowest note is above the highest.", where="changes", remedy="Change one of them."
        )


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
    asked = (_read(kind, form) for kind in KINDS.values())
    tests = tuple(test for test in asked if test is not None)
    if not tests:
        raise RuleError(
            "A criterion needs at least one test.",
            where="criterion",
            remedy="Select one, or enter your own question.",
        )
    improvised = any(isinstance(test, ChangesTest) for test in tests)
    if improvised and not all(isinstance(t, ChangesTest | TempoTest | PlayerTest) for t in tests):
        raise RuleError(
            "For improvising there are no written notes to compare with.",
            where="criterion",
            remedy="With changes you can use only tempo, conditions and your own question.",
        )
    alone = bool(form.get("rhythm_only")) and not improvised
    return Criterion(tests=tests, times=_times(form), rhythm_only=alone)


def _fields(test: AnyTest) -> dict[str, str]:
    match test:
        case OwnQuestionTest(question=words):
            return {"own_words": words}
        case ConditionsTest(stated=stated):
            return {"conditions_more": ", ".join(s for s in stated if s not in CONDITIONS)}
        case _:
            return {t.name: t.text(getattr(test, t.key)) for t in thresholds(type(test))}


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
    ticked = {tag_of(type(test)) for test in criterion.tests}
    return Editor(frozenset(ticked), fields, frozenset(stated))
