"""To which practice day an instant belongs.

The day is decided once, where an event arises, from the wall clock there; the event carries it, and
its instant carries that clock's distance from UTC. Neither is computed again later, wherever the
log is read. Two rules: practice after midnight counts to the evening before, until the hour at
which the day turns; and a day never goes back: who flies west over the date line and plays again
the same evening goes on with the day that was reached, so that no day comes twice.

A clock that stood ahead and was put right is not a flight: what it wrote lies after now, and does
not hold the day.
"""

from datetime import date, datetime, time, timedelta

TURNS_AT_HOUR = 4
_DAY = timedelta(days=1)


def day_of(at: datetime, turns_at_hour: int = TURNS_AT_HOUR) -> date:
    """Return the practice day of an instant given in the player's own zone, by its wall clock."""
    return at.date() - _DAY if at.hour < turns_at_hour else at.date()


def monday_of(day: date) -> date:
    """Return the Monday of a day's week (ISO 8601)."""
    return day - timedelta(days=day.weekday())


def held_day(day: date, at: datetime, last: tuple[datetime, date] | None) -> date:
    """Return a day, or the next one where that was reached before `at` already.

    last : instant and day of the newest event. Zones reach from UTC-12 to UTC+14 (tz database), so
        a flight takes back one day at most; more is a wrong clock, and holds nothing.
    """
    if last is None or last[0] > at or last[1] - day != _DAY:
        return day
    return last[1]


def clock_on(day: date, clock: time, turns_at_hour: int = TURNS_AT_HOUR) -> datetime:
    """Return when a time of day comes in a practice day, without zone: at night, a date later."""
    night = clock.hour < turns_at_hour
    return datetime.combine(day + _DAY if night else day, clock)
