"""Days that are not like others, told in seconds: days off, illness, other minutes, weekdays."""

from collections.abc import Mapping
from datetime import date

from coldtake.domain import events as ev
from coldtake.domain.instants import check_date
from coldtake.domain.told_days import DAYS_AT_ONCE, MINUTES_MOST, WEEKDAYS, DayKind, ToldDay
from coldtake.errors import RuleError
from coldtake.practice.access import Action, needs
from coldtake.practice.state.log import Log


class ToldDays:
    """Use cases of days and weekdays. Every change is one append, or none."""

    def __init__(self, log: Log) -> None:
        self._log = log

    @needs(Action.CHANGE_DATES)
    def tell(self, first: date, last: date, kind: DayKind, minutes: int | None = None) -> None:
        """Say of some days, both ends included, how they are. Raises RuleError.

        minutes : of practice on each, None: none; needed for days of other minutes
        """
        self._check_span(first, last)
        if kind is DayKind.MINUTES and not minutes:
            raise RuleError(
                "Other minutes need a number.",
                where="minutes",
                remedy=f"Enter a number from 1 to {MINUTES_MOST}, or choose “day off”.",
            )
        usual = kind is DayKind.USUAL
        told = ToldDay(kind=kind, minutes=0 if usual else _minutes(minutes or 0))
        with self._log.deciding() as state:
            span = range((last - first).days + 1)
            known = [state.days_told.get(date.fromordinal(first.toordinal() + n)) for n in span]
            if any(one != (None if usual else told) for one in known):
                self._log.append(ev.DaysTold(first=first, last=last, told=told))

    @needs(Action.CHANGE_DATES)
    def tell_weekdays(self, minutes: Mapping[int, int | None]) -> None:
        """Say the minutes of weekdays (1: Monday), None: the usual ones; all of them or none.

        Raises RuleError.
        """
        for weekday, each in minutes.items():
            if weekday not in WEEKDAYS:
                raise RuleError(
                    f"{weekday} is not a weekday.", where="weekday", remedy="Enter 1 to 7."
                )
            _minutes(each or 0)
        with self._log.deciding() as state:
            told = [
                ev.WeekdayTold(weekday=weekday, minutes=each)
                for weekday, each in minutes.items()
                if state.weekdays_told.get(weekday) != each
            ]
            if told:
                self._log.append(*told)

    def _check_span(self, first: date, last: date) -> None:
        today = self._log.today()
        check_date(first, today, "first day")
        check_date(last, today, "last day")
        if last < first:
            raise RuleError(
                f"The last day, {last.isoformat()}, is before the first, {first.isoformat()}.",
                where="last day",
                remedy="Enter a last day that is not before the first day.",
            )
        if (last - first).days >= DAYS_AT_ONCE:
            raise RuleError(
                f"These are {(last - first).days + 1} days.",
                where="last day",
                remedy=f"Enter at most {DAYS_AT_ONCE} days at a time.",
            )


def _minutes(minutes: int) -> int:
    if not 0 <= minutes <= MINUTES_MOST:
        raise RuleError(
            f"{minutes} min is not possible for one day.",
            where="minutes",
            remedy=f"Enter a whole number from 0 to {MINUTES_MOST}.",
        )
    return minutes
