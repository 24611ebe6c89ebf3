"""What the player says of days: no practice, other minutes, or the minutes of a weekday.

A day that is told outranks its weekday; a weekday that is told outranks the usual minutes, which
are a setting. Facts only: a kind and minutes. The words are made where they are shown.
"""

from enum import StrEnum
from typing import Annotated

import msgspec
from msgspec import Meta

MINUTES_MOST = 720  # as much as a plan may have
DAYS_AT_ONCE = 366  # days that are told with one word
WEEKDAYS = range(1, 8)  # ISO 8601: 1 is Monday
Minutes = Annotated[int, Meta(ge=0, le=MINUTES_MOST)]
Weekday = Annotated[int, Meta(ge=1, le=7)]


class DayKind(StrEnum):
    """Why a day is not like others; `usual` takes back what was told of it."""

    USUAL = "usual"
    MINUTES = "minutes"
    OFF = "off"
    HOLIDAY = "holiday"
    TRAVEL = "travel"
    ILLNESS = "illness"
    PAIN = "pain"


HURTS = frozenset({DayKind.ILLNESS, DayKind.PAIN})  # the body, and not the calendar, says no


class ToldDay(msgspec.Struct, frozen=True, kw_only=True):
    """One day as told. minutes : of practice in spite of it, 0 for none."""

    kind: DayKind
    minutes: Minutes = 0
