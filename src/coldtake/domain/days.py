"""To which practice day an instant belongs.

The day is decided once, where an event arises, and the event carries it; its instant carries the
distance of that clock from UTC. Neither is computed again later, wherever the log is read: older
logs keep the days that an older rule gave them.

The evening belongs to the day on which it began. What the player does after midnight counts to the
day before as long as they were never away for several hours since; the first thing they do after
such a pause counts to the date of its calendar. No hour of the night plays a part. Three more
rules: a day that has begun goes on until its midnight, whatever the pauses; a day never goes back,
so that who flies west over the date line, or over midnight, goes on with the day that was reached;
and a plan's own time counts to the plan's day, also when nothing was done before it.

What lies well after now by a wrong clock holds no day.
"""

from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime, time, timedelta

from coldtake.domain.instants import AHEAD_MOST

# Longer than what parts two practices of one evening (a meal, a concert), shorter than a short
# night: who gets up after so little has begun another day (common practice, no source).
PAUSE = timedelta(hours=4)
TURNED_AT_HOUR = 4  # until this hour, older versions counted to the day before
_DAY = timedelta(days=1)
_NOON = time(12)

Span = tuple[datetime, datetime]


def _unplanned(_day: date) -> Span | None:
    return None


def day_at(
    now: datetime,
    acted: Mapping[date, datetime],
    planned: Callable[[date], Span | None] = _unplanned,
) -> date:
    """Return the practice day of an instant given in the player's own zone.

    acted : for each practice day the instant of the last thing that the player did in it
    planned : start and end of the plan of a day by the wall clock, without zone; None without one
    """
    calendar = now.date()
    before, after = calendar - _DAY, calendar + _DAY
    for reached in (after, calendar):
        if _since(acted.get(reached), now) is not None:
            return reached
    wall = now.replace(tzinfo=None)
    if _within(planned(calendar), wall):
        return calendar
    pause = _since(acted.get(before), now)
    goes_on = pause is not None and pause < PAUSE
    return before if goes_on or _within(planned(before), wall) else calendar


def _since(at: datetime | None, now: datetime) -> timedelta | None:
    """True time from an instant to now, None where there is none or a wrong clock said it."""
    passed = None if at is None else now.astimezone(UTC) - at.astimezone(UTC)
    return None if passed is None or passed < -AHEAD_MOST else passed


def _within(span: Span | None, wall: datetime) -> bool:
    return span is not None and span[0] <= wall < span[1]


def is_night(now: datetime, acted: Mapping[date, datetime]) -> bool:
    """Say whether a date has begun on which nothing was done, and no night's pause fits into it.

    For who sits awake then, this date is still to come.
    """
    begun = acted.get(now.date()) is not None
    since_midnight = timedelta(hours=now.hour, minutes=now.minute)
    return not begun and since_midnight < PAUSE


def monday_of(day: date) -> date:
    """Return the Monday of a day's week (ISO 8601)."""
    return day - timedelta(days=day.weekday())


def start_of(day: date, clock: time, now: datetime) -> datetime:
    """Return when a plan of a practice day begins that is to begin at a time of day, without zone.

    That is on the day's own date; but a time soon after midnight that is long past on it is meant
    for the night that follows.
    """
    starts = datetime.combine(day, clock)
    soon = starts - datetime.combine(day, time()) < PAUSE
    past = starts < now.replace(tzinfo=None) - PAUSE
    return starts + _DAY if soon and past else starts


def date_to_write(day: date, starts: datetime) -> date | None:
    """Return the date of a start for the log; None where nobody doubts it: the day's own, by day.

    A plan that does not say it and begins before noon is one of an older log (`date_of_old_start`).
    """
    return None if starts.date() == day and starts.time() >= _NOON else starts.date()


def date_of_old_start(day: date, clock: time, turned_at: str | None) -> date | None:
    """Return the same for a plan of an older log, which does not say it; None: the day's own.

    turned_at : the hour at which the day turned, as a setting of that log: noon at the latest
    """
    hour = int(turned_at) if turned_at and turned_at.isdecimal() else TURNED_AT_HOUR
    return day + _DAY if clock.hour < hour else None
