"""The evening before: a session's plan is proposed, changed, kept and taken to the calendar."""

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta

import msgspec

from coldtake.domain.days import date_to_write, start_of
from coldtake.domain.events import PlanDeleted, PlanKept
from coldtake.domain.instants import check_date
from coldtake.domain.plan import SESSIONS_MOST, Plan, PlanRequest
from coldtake.errors import NotFoundError, PlanError
from coldtake.practice import lookup
from coldtake.practice.access import Action, needs
from coldtake.practice.plans.day_sessions import (
    check_apart,
    free_session,
    is_over,
    next_plan,
    parted,
    parts_of,
    without_missed,
)
from coldtake.practice.reports.forecast_log import chances_of, news_in
from coldtake.practice.state.log import Log
from coldtake.settings import value_of

MINUTES_LEAST, MINUTES_MOST = 5, 720  # those of PlanRequest
SHORT_MIN = 25  # of a further session, when the day's minutes are given out; a guess
_STEP_OF_START_MIN = 5


class PlanService:
    """Use cases around the plans of one day. A plan is an event only when it changed."""

    def __init__(self, log: Log) -> None:
        self._log = log

    @needs(Action.SEE)
    def plan(self, day: date, session: int | None = None) -> Plan | None:
        """Return the plan kept for a session of a day, None where there is none.

        session : its number; None: the one whose turn it is
        """
        state = self._log.state()
        if session is not None:
            return state.plan_of(day, session)
        return next_plan(state, day, self._log.now())

    @needs(Action.SEE)
    def plans(self, day: date) -> tuple[Plan, ...]:
        """Return the plans of all sessions of a day, the earliest start first."""
        return self._log.state().plans_on(day)

    @needs(Action.SEE)
    def is_over(self, plan: Plan) -> bool:
        """Say whether a session with just this plan was played to its end."""
        return is_over(self._log.state(), plan)

    @needs(Action.SEE)
    def new_session(self, day: date) -> int:
        """Return the number of a further session of a day. Raises PlanError when it is full."""
        return free_session(self._log.state(), day)

    @needs(Action.SEE)
    def tomorrow(self) -> date:
        """Return the next practice day; at night the one whose date has begun."""
        return self._log.coming_day()

    @needs(Action.SEE)
    def default_request(self, day: date, session: int = 1) -> PlanRequest:
        """Return the minutes that are proposed and the usual start; for today not before now."""
        check_date(day, self._log.today(), "day")
        state = self._log.state()
        starts_at = time(value_of(state.settings, "starts_at_hour"))
        now = self._log.now()
        starts = start_of(day, starts_at, now)
        if day == self._log.today() and now.replace(tzinfo=None) > starts:
            starts = _next_start(now)
        others = [p for p in state.plans_on(day) if p.request.session != session]
        starts = _after(starts, [p for p in others if not is_over(state, p)])
        return PlanRequest(
            day=day,
            starts_at=starts.time(),
            starts_on=date_to_write(day, starts),
            minutes=self._minutes(day, sum(p.minutes for p in others)),
            session=session,
        )

    def _minutes(self, day: date, given: int) -> int:
        """Return the proposed minutes, less what other sessions of the day have."""
        from coldtake.planning.day.proposed import proposed_minutes

        state = self._log.state()
        found = proposed_minutes(state, day, self._log.today())
        wanted = found.minutes or value_of(state.settings, "session_minutes")
        left = wanted - given
        return max(left if left >= SHORT_MIN else min(wanted, SHORT_MIN), MINUTES_LEAST)

    @needs(Action.PLAN)
    def propose(self, request: PlanRequest) -> Plan:
        """Solve a session of a day and keep its plan. Raises PlanError, NotFoundError.

        A plan without a slot (nothing to practise yet) is returned with its remarks, not kept. A
        day longer than a session may be is kept as several; the first is returned.
        """
        self._check(request)
        request = self._dated(request)
        with self._log.learned.used():
            first, *others = parts_of(self._log.state(), request)
            plan = self._keep(first)
            if plan.slots:
                for other in others:
                    self._keep(other)
                self._drop_parts(request.day, first.session, others)
                self._solve_later(request)
        return plan

    def _solve_later(self, request: PlanRequest) -> None:
        """Solve the sessions anew that follow on the day: what they build on is another."""
        state = self._log.state()
        for plan in state.plans_on(request.day):
            theirs = plan.request
            part = theirs.part_of is not None and theirs.part_of == request.session
            if theirs.starts > request.starts and not part and not state.started(plan):
                self._keep(theirs)

    def _keep(self, request: PlanRequest) -> Plan:
        from coldtake.planning.day.plan_day import plan_day

        before = self._log.state()
        plan = plan_day(without_missed(before, request.day, self._log.now()), request)
        said = chances_of(before, plan)
        with self._log.deciding() as state:
            if plan.slots and state.plan_of(request.day, request.session) != plan:
                self._log.append(PlanKept(plan=plan), *news_in(state, said))
        return plan

    def _drop_parts(self, day: date, session: int, kept: Sequence[PlanRequest]) -> None:
        """Delete the parts of a session that became shorter."""
        numbers = {request.session for request in kept}
        with self._log.deciding() as state:
            for plan in parted(state, day, session):
                if plan.request.session not in numbers:
                    self._log.append(PlanDeleted(for_day=day, session=plan.request.session))

    @needs(Action.CHANGE_DATES)
    def delete(self, day: date, session: int) -> None:
        """Delete a planned session; what was played of it stays. Raises NotFoundError."""
        with self._log.deciding() as state:
            if state.plan_of(day, session) is None:
                raise NotFoundError("This session was not found.", remedy="See the day's plan.")
            self._log.append(PlanDeleted(for_day=day, session=session))

    @needs(Action.SEE)
    def get_ready(self) -> None:
        """Let the models find what tomorrow's plan will ask for: the first time takes longest."""
        from coldtake.planning.day.plan_day import rules_of
        from coldtake.planning.value.lookahead import day_values

        state = self._log.state()
        with self._log.learned.used():
            day_values(state, self.tomorrow(), slot_most=2 * rules_of(state).slot_most_min)

    @needs(Action.PLAN)
    def change(self, day: date, request: PlanRequest) -> Plan:
        """Solve a day again around what the player insists on. Raises PlanError."""
        return self.propose(msgspec.structs.replace(request, day=day))

    @needs(Action.SEE)
    def calendar(self, day: date) -> bytes:
        """Return a day's plans as an iCalendar object (RFC 5545). Raises NotFoundError."""
        from coldtake.practice.plans.calendar import calendar_of

        state = self._log.state()
        plans = state.plans_on(day)
        if not plans:
            raise NotFoundError(
                f"There is no plan for {day.isoformat()}.", remedy="Make a plan first."
            )
        return calendar_of(plans, state, self._log.now())

    @needs(Action.SEE)
    def calendar_feed(self) -> bytes:
        """Return all sessions, rehearsals, lessons and performances for a calendar program."""
        from coldtake.practice.plans.calendar_feed import feed_of

        return feed_of(self._log.state(), self._log.today(), self._log.now())

    def _dated(self, request: PlanRequest) -> PlanRequest:
        """Decide on which date the plan begins, once: the known one's while the time is its own."""
        if request.starts_on is not None:
            return request
        known = self.plan(request.day, request.session)
        if known is not None and known.request.starts_at == request.starts_at:
            on = known.request.starts_on
        else:
            starts = start_of(request.day, request.starts_at, self._log.now())
            on = date_to_write(request.day, starts)
        return msgspec.structs.replace(request, starts_on=on)

    def _check(self, request: PlanRequest) -> None:
        if not MINUTES_LEAST <= request.minutes <= MINUTES_MOST:
            raise PlanError(
                f"{request.minutes} min cannot be planned.",
                where="minutes",
                remedy=f"Enter a whole number from {MINUTES_LEAST} to {MINUTES_MOST}.",
            )
        today = self._log.today()
        check_date(request.day, today, "day")
        if request.day < today:
            raise PlanError(
                f"{request.day.isoformat()} is past; today is {today.isoformat()}.",
                where="day",
                remedy="Choose today or a later day.",
            )
        if not 1 <= request.session <= SESSIONS_MOST:
            raise PlanError(
                f"{request.session} is not a session of a day.",
                where="session",
                remedy=f"Enter a whole number from 1 to {SESSIONS_MOST}.",
            )
        state = self._log.state()
        check_apart(state, request)
        known = state.plan_of(request.day, request.session)
        # A step that was deleted since is no fault of this request: the plan says so.
        before = {wish.step_id for wish in known.request.wishes} if known else set()
        for wish in request.wishes:
            if wish.step_id not in before:
                lookup.step(state, wish.step_id)


def _after(starts: datetime, others: Sequence[Plan]) -> datetime:
    """Move a proposed start behind the sessions in whose hours it lies."""
    for plan in sorted(others, key=lambda p: p.request.starts):
        ends = plan.request.starts + timedelta(minutes=plan.minutes)
        if plan.request.starts <= starts < ends:
            starts = _next_start(ends)
    return starts


def _next_start(now: datetime) -> datetime:
    """Return the next full five minutes on the wall clock, without zone."""
    full = now.replace(tzinfo=None, second=0, microsecond=0)
    return full + timedelta(minutes=_STEP_OF_START_MIN - now.minute % _STEP_OF_START_MIN)
