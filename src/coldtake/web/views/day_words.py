"""What a day off or a shortened plan is called, and why it is shorter: sentences of the pages."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

from coldtake.domain.told_days import DayKind, ToldDay
from coldtake.planning.words import counted, hours_and_minutes

if TYPE_CHECKING:
    from coldtake.planning.day.proposed import ProposedMinutes, WeekdayHabit
    from coldtake.planning.value.coming_back import ComingBack

KIND = {
    DayKind.USUAL: "as usual",
    DayKind.MINUTES: "other minutes",
    DayKind.OFF: "day off",
    DayKind.HOLIDAY: "holiday",
    DayKind.TRAVEL: "travel without the instrument",
    DayKind.ILLNESS: "illness",
    DayKind.PAIN: "pain",
}
_CAUTION = (
    "If anything hurts, stop, and ask a doctor before you play on. The advice of a doctor, teacher "
    "or school comes before this plan."
)
_REST = "Rest comes first. " + _CAUTION


def told_words(told: ToldDay) -> str:
    """Name a day that is not like others: “Holiday, 20 min”."""
    if told.kind is DayKind.MINUTES:
        return hours_and_minutes(told.minutes)
    name = KIND[told.kind].capitalize()
    return f"{name}, {hours_and_minutes(told.minutes)}" if told.minutes else name


def day_remarks(found: ProposedMinutes, growth: int) -> tuple[str, ...]:
    """Say on a day's plan what was told of it and why its minutes are fewer.

    growth : per cent from one practice day to the next, the player's own limit
    """
    said = []
    if found.told is not None and found.told.kind is not DayKind.MINUTES:
        said.append(f"You entered for this day: {told_words(found.told)}.")
        if found.told.kind in (DayKind.ILLNESS, DayKind.PAIN):
            said.append(_REST)
    elif not found.usual:
        said.append("No practice is entered for this weekday.")
    if found.back is not None:
        said += _back(found.back, found, growth)
    return tuple(said)


def _back(back: ComingBack, found: ProposedMinutes, growth: int) -> list[str]:
    away = f"You come back after {counted(back.away_days, 'day')} without practice"
    less, usual = hours_and_minutes(found.minutes), hours_and_minutes(found.usual)
    return [
        f"{away}{_why(back.why)}.",
        f"Suggested: {less} instead of {usual}. Each practice day adds at most {growth}%.",
        "Steps that were met get a cold take before more work.",
        _CAUTION,
    ]


def _why(kinds: Sequence[DayKind]) -> str:
    names = [KIND[k] for k in kinds if k not in (DayKind.USUAL, DayKind.MINUTES)]
    return f" ({', '.join(names)})" if names else ""


def habit_words(habit: WeekdayHabit, day: date) -> str:
    """Say how long the player really plays on a weekday."""
    return (
        f"On {day:%A}s you play about {hours_and_minutes(habit.minutes)} "
        f"({habit.played} of the last {habit.days} {day:%A}s)."
    )
