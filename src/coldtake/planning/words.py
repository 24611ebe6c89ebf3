"""Small words that reasons, goals and remarks share."""

import re
from collections.abc import Callable
from datetime import date

from coldtake.domain.estimate import Interval
from coldtake.messages.catalogue import marked

_SENTENCE_END = re.compile(r"(?<=[.?]) (?=[A-Z“])")

ROUGH = "Rough estimate"  # a number that rests on too few takes


def on_day(day: date) -> str:
    """Say a date without its year: “12 January”."""
    return f"{day.day} {day:%B}"


def weekday(day: date, seen_from: date) -> str:
    """Say a date with its weekday: “Sat 12 Dec”, with the year where it is another."""
    year = f" {day.year}" if day.year != seen_from.year else ""
    return f"{day:%a} {day.day} {day:%b}{year}"


Translate = Callable[[str], str]
_ANYTHING = marked("anything: too little is known")


def in_hundred(chance: float, translate: Translate = str) -> str:
    """Say a chance 0..1: “34 in 100”; never 0 or 100, which no estimate supports.

    translate : gives a message its language; what is stored is in English
    """
    whole = round(100 * chance)
    if whole < 1:
        return translate("fewer than 1 in 100")
    return (
        translate("more than 99 in 100")
        if whole > 99
        else translate("%(chance)s in 100") % {"chance": whole}
    )


def between(chance: Interval, translate: Translate = str) -> str:
    """Say an interval of a chance: “between 59 and 93 in 100”; its ends are never 0 or 100."""
    low, high = round(100 * chance.low), round(100 * chance.high)
    if low == high:
        return in_hundred(chance.mid, translate)
    ends = {"low": low, "high": high}
    if low < 1:
        known = high < 100
        return translate("at most %(high)s in 100") % ends if known else translate(_ANYTHING)
    text = (
        translate("at least %(low)s in 100")
        if high > 99
        else translate("between %(low)s and %(high)s in 100")
    )
    return text % ends


def raised(start: float, end: float) -> str:
    """Say how a chance rises by 1 in 100 and more: “from 7 to 8 in 100”."""
    low = round(100 * start)
    return f"from {in_hundred(start) if low < 1 else low} to {in_hundred(end)}"


def about_steps(expected: float, number: Interval) -> int:
    """Say how many steps should be clean, as a whole number within its limits."""
    return int(min(max(round(expected), number.low), number.high))


def counted(number: int, one: str, many: str | None = None) -> str:
    """Say a number with its noun."""
    return f"{number} {noun(number, one, many)}"


def noun(number: int, one: str, many: str | None = None) -> str:
    """Give a noun the form that goes with a number."""
    return one if number == 1 else many or f"{one}s"


def as_told(minutes: float) -> int:
    """Round minutes of work, no finer than they are known, as `duration` writes them."""
    by = 1 if minutes < 20 else 5 if minutes < 300 else 30
    return max(by * round(minutes / by), 1)


def duration(minutes: float) -> str:
    """Say minutes of work, no finer than they are known: “28 min”, “4 h 35 min”, “12 h 30 min”."""
    return hours_and_minutes(as_told(minutes))


def hours_and_minutes(whole: int) -> str:
    """Say whole minutes: “28 min”, from 90 min on in hours: “1 h 42 min”."""
    if whole < 90:
        return f"{whole} min"
    rest = whole % 60
    return f"{whole // 60} h {rest} min" if rest else f"{whole // 60} h"


def first_sentence(text: str) -> tuple[str, str]:
    """Part a text after its first sentence: what is shown at once, and what stands under “why”."""
    first, _, rest = _SENTENCE_END.sub("\n", text, count=1).partition("\n")
    return first, rest


def listed(names: list[str]) -> str:
    """Join names: “a”, “a and b”, “a, b and c”."""
    if len(names) <= 1:
        return "".join(names)
    return ", ".join(names[:-1]) + " and " + names[-1]
