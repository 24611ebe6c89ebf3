"""A calm notice when playing grows faster than the player's own limit.

Excessively high or suddenly increased playing load is named among the major contributors to
playing-related disorders (Chan and Ackermann, Evidence-informed physical therapy management of
performance-related musculoskeletal disorders in musicians, Frontiers in Psychology 5:706, 2014).
How much growth is too much is not known: the limit is a setting, not a medical statement.
"""

from collections.abc import Iterable
from datetime import date, timedelta

from coldtake.domain.history.state import State
from coldtake.domain.plan import Plan
from coldtake.planning.words import hours_and_minutes
from coldtake.settings import value_of

_WEEKS = 4
LONG_DAY_MIN = 240  # of playing in one day; common practice, no source
_CAUTION = (
    "If anything hurts, stop and rest. The advice of a doctor, teacher or school comes before "
    "this plan."
)


def _minutes(state: State, first: date, last: date) -> float:
    """Minutes played from `first` to `last`, both included."""
    return sum(minutes for day, minutes in state.minutes_on.items() if first <= day <= last)


def _grown(what: str, now: float, like: str, usual: float, limit: int) -> str | None:
    if usual <= 0 or now <= usual * (1 + limit / 100):
        return None
    more = round(100 * (now / usual - 1))
    return (
        f"{what} {hours_and_minutes(round(now))} of playing, {more}% more than your average "
        f"{like} in the last four weeks"
    )


def load_notice(state: State, day: date, playing_min: int) -> str | None:
    """Return a notice for the day's or the week's load, or None.

    playing_min : of the session that is planned; what was played that day before it is added

    The week is the seven days that end with `day`; the average is that of the 28 days before
    `day`. Growth is not spoken of before four weeks are in the log.
    """
    if playing_min <= 0:
        return None
    before = round(state.minutes_on.get(day, 0.0))
    what = "This day has" if before else "This plan has"
    return _growth(state, day, before + playing_min, what)


def long_day(plans: Iterable[Plan]) -> str | None:
    """Return a notice where the plans of a day make it long for anybody, or None."""
    playing_min = sum(period.minutes for plan in plans for period in plan.periods)
    if playing_min <= LONG_DAY_MIN:
        return None
    return (
        f"This day has {hours_and_minutes(playing_min)} of playing. That is a lot for hands, "
        f"arms, lips and ears. Rest between the sessions, and play less on the next day. {_CAUTION}"
    )


def _growth(state: State, day: date, playing_min: int, what: str) -> str | None:
    if not state.minutes_on:
        return None
    yesterday, start = day - timedelta(days=1), day - timedelta(weeks=_WEEKS)
    if min(state.minutes_on) > start:
        return None
    limit = value_of(state.settings, "load_notice")
    total = _minutes(state, start, yesterday)
    days = len([day for day in state.minutes_on if start <= day <= yesterday])
    if total <= 0:
        return f"You did not play for four weeks. Start with little. {_CAUTION}"
    week = _minutes(state, day - timedelta(days=6), yesterday) + playing_min
    said = _grown(
        "The week that ends on this day has", week, "week", total / _WEEKS, limit
    ) or _grown(what, playing_min, "practice day", total / days, limit)
    return f"{said}. {_CAUTION}" if said else None
