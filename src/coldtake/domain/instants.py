"""Which instants and days can be: one rule for pages, takes, archives and the log itself.

No clock that is right says an instant before 2000 or from 2100 on: such a clock was never set, or
lost its battery. What a device sends lies at most an hour after this machine's own time (a clock
set by hand that missed the change of summer time is an hour off), and not much before the log
began. A practice day lies near the date of its instant.
"""

from datetime import UTC, date, datetime, timedelta
from enum import StrEnum

from coldtake.errors import RuleError

FIRST, END = datetime(2000, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC)
AHEAD_MOST = timedelta(hours=1)
BEFORE_LOG_MOST = timedelta(days=30)
DAY_MOST = timedelta(days=2)  # zones reach from UTC-12 to UTC+14, and a night counts to its evening
_NO_TIME = FIRST + timedelta(days=1.5)  # in 2000 whatever the zone, and no night
DATES_MOST = timedelta(days=3653)  # ten years: no date of a performance is further ahead


class Misdating(StrEnum):
    """What is wrong with an instant or a day."""

    BEFORE = "before"
    AFTER = "after"
    APART = "apart"


def possible(at: datetime) -> bool:
    """Say whether a clock that is right can have said this, whenever that was."""
    return FIRST <= at < END


def misdating(
    at: datetime, day: date, *, now: datetime, log_began: datetime | None = None
) -> Misdating | None:
    """Say what is wrong with when something is said to have happened, None where nothing is.

    All instants are aware of their zone. log_began : when there was something to practise first
    """
    if at < FIRST or (log_began is not None and at < log_began - BEFORE_LOG_MOST):
        return Misdating.BEFORE
    if at >= END or at > now + AHEAD_MOST:
        return Misdating.AFTER
    return Misdating.APART if abs(day - at.date()) > DAY_MOST else None


def believed(now: datetime, last: datetime | None) -> datetime:
    """Return the time of day; where the clock says what cannot be, the last that was known."""
    return now if possible(now) else (last or _NO_TIME).astimezone(now.tzinfo)


def check_date(day: date, today: date, where: str) -> None:
    """Raise RuleError for a date, of a plan or a performance, that nobody can mean."""
    first, last = FIRST.date(), today + DATES_MOST
    if not first <= day <= last:
        raise RuleError(
            f"{day.isoformat()} is not from {first.isoformat()} to {last.isoformat()}.",
            where=where,
            remedy="Enter a date within ten years.",
        )
