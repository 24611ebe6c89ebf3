"""Dates, times and numbers as the language that is spoken now writes them (CLDR, by Babel)."""

from datetime import date, datetime, time

from babel.dates import format_date, format_time
from babel.numbers import format_percent, get_decimal_symbol, get_group_symbol

from coldtake.messages.catalogue import pgettext
from coldtake.messages.language import spoken

_MINUS = "−"


def day(on: date) -> str:
    """Write a day as `Thu 26 Nov`."""
    return _date(on, pgettext("date pattern", "EEE d MMM"))


def short_day(on: date) -> str:
    """Write a day as `26 Nov`."""
    return _date(on, pgettext("date pattern", "d MMM"))


def long_day(on: date) -> str:
    """Write a day as `Thursday 26 November 2026`."""
    return _date(on, pgettext("date pattern", "EEEE d MMMM y"))


def clock(moment: datetime | time) -> str:
    """Write a time of day as `17:05`."""
    at = moment.time() if isinstance(moment, datetime) else moment
    return format_time(at, "HH:mm", locale=spoken())


def number(value: float, digits: int = 1) -> str:
    """Write a number without trailing zeros, with a true minus sign."""
    text = f"{value:.{digits}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    text = "0" if text in ("-0", "") else text
    return text.replace("-", _MINUS).replace(".", get_decimal_symbol(spoken()))


def whole(value: int) -> str:
    """Write a large whole number with its thousands apart: `20,000`."""
    return f"{value:,}".replace(",", get_group_symbol(spoken()))


def percent(value: int) -> str:
    """Write whole per cent: `71%`."""
    return format_percent(value / 100, locale=spoken())


def _date(on: date, pattern: str) -> str:
    return format_date(on, pattern, locale=spoken())
