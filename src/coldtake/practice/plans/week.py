"""A week at a glance: what each of its seven days should have, what is planned, what came of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from coldtake.domain.days import monday_of
from coldtake.domain.history.appointments import on_day
from coldtake.domain.history.state import State
from coldtake.domain.performance import Performance
from coldtake.domain.plan import Plan
from coldtake.domain.requirement import Appointment
from coldtake.domain.take import Answer
from coldtake.domain.told_days import WEEKDAYS
from coldtake.practice.plans.day_sessions import is_over, next_plan

if TYPE_CHECKING:
    from coldtake.planning.day.proposed import ProposedMinutes


@dataclass(frozen=True, slots=True)
class PlannedSession:
    """One session of a day; over : it was played to its end."""

    plan: Plan
    over: bool


@dataclass(frozen=True, slots=True)
class DayOfWeek:
    """One day.

    proposed : its minutes, of past days as the log tells now; played : minutes really played
    cold, clean : first tries of its sessions, and those of them that were clean
    next_session : number of the session whose plan one touch leads to, None for a new one
    """

    day: date
    proposed: ProposedMinutes
    planned: tuple[PlannedSession, ...]
    played: float
    sessions: int
    cold: int
    clean: int
    appointments: tuple[Appointment, ...]
    performances: tuple[Performance, ...]
    next_session: int | None

    @property
    def minutes(self) -> int:
        """Minutes that the day comes to: of its plans where there are any, else as proposed."""
        plans = sum(one.plan.minutes for one in self.planned)
        return plans or self.proposed.minutes


def week_of(state: State, day: date, now: datetime, today: date) -> tuple[DayOfWeek, ...]:
    """Return the seven days of a day's week, from Monday on (ISO 8601). today : practice day."""
    first = monday_of(day)
    days = (first + timedelta(days=n) for n in range(len(WEEKDAYS)))
    return tuple(_day(state, one, now, today) for one in days)


def _day(state: State, day: date, now: datetime, today: date) -> DayOfWeek:
    from coldtake.planning.day.proposed import proposed_minutes

    ids = state.sessions_on.get(day, ())
    found = (state.tries.get(i) for one in ids for i in state.sessions[one].try_ids)
    cold = [t for t in found if t is not None and t.cold]
    stages = [p for p in state.performances.values() if p.on == day]
    plan = next_plan(state, day, now)
    going_on = plan is not None and not is_over(state, plan)
    return DayOfWeek(
        day=day,
        proposed=proposed_minutes(state, day, today),
        planned=tuple(PlannedSession(p, is_over(state, p)) for p in state.plans_on(day)),
        played=state.minutes_on.get(day, 0.0),
        sessions=len(ids),
        cold=len(cold),
        clean=sum(t.answer is Answer.YES for t in cold),
        appointments=on_day(state, day),
        performances=tuple(sorted(stages, key=lambda p: p.id)),
        next_session=plan.request.session if plan is not None and going_on else None,
    )
