"""What was told of days and weekdays, as the log has it."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

from coldtake.domain import events as ev
from coldtake.domain.history.state import State
from coldtake.domain.told_days import DAYS_AT_ONCE, DayKind


def minutes_told(state: State, day: date) -> int | None:
    """Return the minutes that were told for a day or for its weekday; None: as usual."""
    told = state.days_told.get(day)
    return state.weekdays_told.get(day.isoweekday()) if told is None else told.minutes


def _days(state: State, _event: ev.Event, data: ev.DaysTold) -> None:
    span = min((data.last - data.first).days + 1, DAYS_AT_ONCE)
    for day in (data.first + timedelta(days=n) for n in range(span)):
        if data.told.kind is DayKind.USUAL:
            state.days_told.pop(day, None)
        else:
            state.days_told[day] = data.told


def _weekday(state: State, _event: ev.Event, data: ev.WeekdayTold) -> None:
    if data.minutes is None:
        state.weekdays_told.pop(data.weekday, None)
    else:
        state.weekdays_told[data.weekday] = data.minutes


HANDLERS: dict[type[ev.Data], Callable[[State, ev.Event, Any], None]] = {
    ev.DaysTold: _days,
    ev.WeekdayTold: _weekday,
}
