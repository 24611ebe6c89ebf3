"""The thresholds of a kind of test as form fields, made from the fields of its record."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import cache
from typing import Any

from msgspec import inspect

from coldtake.domain.criterion import AnyTest, PlayerTest, tag_of
from coldtake.domain.criterion_words import WORDS
from coldtake.errors import PassageError, RuleError
from coldtake.music.theory.tones import pitch_name, read_pitch
from coldtake.web.forms import form_fields

Form = Mapping[str, str]


class Shape(StrEnum):
    """How a threshold is entered."""

    NUMBER = "number"
    WHOLE = "whole"
    TICK = "tick"
    PITCH = "pitch"
    CHOICE = "choice"


_SHAPES = {
    inspect.FloatType: Shape.NUMBER,
    inspect.IntType: Shape.WHOLE,
    inspect.BoolType: Shape.TICK,
}


@dataclass(frozen=True, slots=True)
class Threshold:
    """A threshold: its key in the record, its name in the form, what may be entered.

    least, most : in `unit`; optional : empty means that it is not asked
    first : the text until the player enters another; blank : empty means that text, too
    example : a pitch, shown in the empty field
    """

    key: str
    name: str
    label: str
    shape: Shape
    least: float
    most: float
    unit: str
    optional: bool
    first: str
    blank: bool = False
    example: str = ""
    choices: Mapping[str, str] = field(default_factory=dict, hash=False)

    def read(self, form: Form) -> Any:
        """Read it from a form; a field that did not come is as if untouched. Raises InputError."""
        text = form.get(self.name, "" if self.optional else self.first).strip()
        if self.shape is Shape.TICK:
            return bool(form.get(self.name))
        if not text and self.optional:
            return None
        if not text and self.blank:
            text = self.first
        if self.shape is Shape.PITCH:
            return _pitch(text, self.label)
        read = form_fields.whole if self.shape is Shape.WHOLE else form_fields.number
        return read(text, self.label, self.least, self.most, self.unit)

    def text(self, value: Any) -> str:
        """Write a value as it stands in the form."""
        if value is None:
            return ""
        if self.shape is Shape.TICK:
            return "1" if value else ""
        return str(pitch_name(value)) if self.shape is Shape.PITCH else f"{value:g}"


@cache
def thresholds(kind: type[AnyTest]) -> tuple[Threshold, ...]:
    """Return what of a kind of test can be entered; nothing of what only the player answers."""
    if issubclass(kind, PlayerTest):
        return ()
    record = inspect.type_info(kind)
    assert isinstance(record, inspect.StructType)
    return tuple(_threshold(kind, one) for one in record.fields)


def _threshold(kind: type[AnyTest], one: inspect.Field) -> Threshold:
    words, type_ = WORDS[kind], one.type
    extra: dict[str, Any] = {}
    if optional := isinstance(type_, inspect.UnionType):
        [type_] = [t for t in type_.types if not isinstance(t, inspect.NoneType)]
    if isinstance(type_, inspect.Metadata):
        extra = type_.extra or {}
        type_ = type_.type
    choices = {f"{value:g}": name for value, name in words.choices.get(one.name, {}).items()}
    shape = Shape.CHOICE if choices else Shape.PITCH if "pitch" in extra else _SHAPES[type(type_)]
    made = Threshold(
        key=one.name,
        name=f"{tag_of(kind)}_{one.name}",
        label=words.labels[one.name],
        shape=shape,
        least=extra.get("least", 0),
        most=extra.get("most", 0),
        unit=extra.get("unit", ""),
        optional=optional,
        first="",
        blank=extra.get("blank", False),
        example=extra.get("pitch", ""),
        choices=choices,
    )
    usual = extra.get("first") if one.required else one.default
    return replace(made, first=made.text(usual))


def _pitch(text: str, where: str) -> int:
    """A note name such as "E♭4" to its MIDI number, as the player reads it."""
    try:
        midi = read_pitch(text[:1].upper() + text[1:]).midi
    except PassageError as fault:
        remedy = "Write it with its octave, such as E♭4; middle C is C4."
        raise RuleError(fault.what, where=where, remedy=remedy) from None
    if not 0 <= midi <= 127:
        raise RuleError(
            f"“{text}” is outside the range of all instruments.", where=where, remedy="Change it."
        )
    return midi
