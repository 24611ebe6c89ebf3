"""Which language is spoken, and how it writes days and numbers.

Patterns of days and numbers: Unicode Common Locale Data Repository (CLDR 47, 2025), German and
English, by way of Babel; the examples are from memory, common practice.
"""

from datetime import date, datetime

import pytest

from coldtake.messages import formats
from coldtake.messages.language import LANGUAGES, Language, first_understood, speaking, spoken

BOTH = (Language("en", "English", True), Language("de", "Deutsch", True))


def test_english_unless_another_is_spoken():
    assert spoken() == "en"
    with speaking("de"):
        assert spoken() == "de"
    assert spoken() == "en"


def test_the_log_keeps_places_in_this_list():
    assert [one.code for one in LANGUAGES] == ["en", "de"]


@pytest.mark.parametrize(
    ("header", "code"),
    [
        ("", "en"),
        ("de", "de"),
        ("de-AT,de;q=0.9,en;q=0.8", "de"),
        ("en-GB,en;q=0.9,de;q=0.8", "en"),
        ("fr,de;q=0.4", "de"),
        ("fr", "en"),
        ("de;q=0,en", "en"),
        ("de;q=much", "en"),
        (";;,,q=", "en"),
    ],
)
def test_what_a_browser_asks_for(header, code):
    assert first_understood(header, BOTH) == code


def test_nobody_is_answered_in_a_language_that_is_not_offered():
    assert first_understood("de", BOTH[:1]) == "en"


@pytest.mark.parametrize("month", range(1, 13))
def test_english_days_are_written_as_the_c_locale_writes_them(month):
    day = date(2026, month, 5)
    assert formats.day(day) == f"{day:%a} 5 {day:%b}"
    assert formats.short_day(day) == f"5 {day:%b}"
    assert formats.long_day(day) == f"{day:%A} 5 {day:%B} 2026"


def test_numbers_of_both_languages():
    moment = datetime(2026, 11, 26, 17, 5)
    assert formats.clock(moment) == "17:05"
    assert [formats.number(x) for x in (1.5, -2.0, -0.04)] == ["1.5", "−2", "0"]
    assert (formats.whole(20_000), formats.percent(71)) == ("20,000", "71%")
    with speaking("de"):
        assert [formats.number(x) for x in (1.5, -2.0, -0.04)] == ["1,5", "−2", "0"]
        assert (formats.whole(20_000), formats.percent(71)) == ("20.000", "71\N{NO-BREAK SPACE}%")
