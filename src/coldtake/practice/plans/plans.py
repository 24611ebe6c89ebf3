"""The evening before: tomorrow's plan is proposed, changed, kept and taken to the calendar."""

from datetime import date, datetime, time, timedelta

import msgspec

from coldtake.domain.days import date_to_write, start_of
from coldtake.domain.events import PlanKept
from coldtake.domain.instants import check_date
from coldtake.domain.plan import Plan, PlanRequest
from coldtake.errors import NotFoundError, PlanError
from coldtake.practice import lookup
from coldtake.practice.reports.forecast_log import chances_of, news_in
from coldtake.practice.state.log import Log
from coldtake.settings import value_of

MINUTES_LEAST, MINUTES_MOST = 5, 720  # those of PlanRequest
_STEP_OF_START_MIN = 5


class PlanService:
    """Use cases around the plan of one day. A plan is an event only when it changed."""

    def __init__(self, log: Log) -> None:
        self._log = log

    def plan(self, day: date) -> Plan | None:
        """Return the plan kept for a day, None where there is none."""
        return self._log.state().plans.get(day)

    def tomorrow(self) -> date:
        """Return the next practice day; at night the one whose date has begun."""
        return self._log.coming_day()

    def default_request(self, day: date) -> PlanRequest:
        """Return the usual minutes and start; for today not before now."""
        check_date(day, self._log.today(), "day")
        settings = self._log.state().settings
        starts_at = time(value_of(settings, "starts_at_hour"))
        now = self._log.now()
        starts = start_of(day, starts_at, now)
        if day == self._log.today() and now.replace(tzinfo=None) > starts:
            starts = _next_start(now)
        return PlanRequest(
            day=day,
            starts_at=starts.time(),
            starts_on=date_to_write(day, starts),
            minutes=value_of(settings, "session_minutes"),
        )

    def propose(self, request: PlanRequest) -> Plan:
        """Solve a day and keep the plan. Raises PlanError with a sentence, NotFoundError.

        A plan without a slot (nothing to practise yet) is returned with its remarks, not kept.
        """
        self._check(request)
        request = self._dated(request)
        from coldtake.planning.day.plan_day import plan_day

        with self._log.learned.used():
            before = self._log.state()
            plan = plan_day(before, request)
            said = chances_of(before, plan)
        with self._log.deciding() as state:
            if plan.slots and state.plans.get(request.day) != plan:
                self._log.append(PlanKept(plan=plan), *news_in(state, said))
        return plan

    def get_ready(self) -> None:
        """Let the models find what tomorrow's plan will ask for: the first time takes longest."""
        from coldtake.planning.day.plan_day import rules_of
        from coldtake.planning.value.lookahead import day_values

        state = self._log.state()
        with self._log.learned.used():
            day_values(state, self.tomorrow(), slot_most=2 * rules_of(state).slot_most_min)

    def change(self, day: date, request: PlanRequest) -> Plan:
        """Solve a day again around what the player insists on. Raises PlanError."""
        return self.propose(msgspec.structs.replace(request, day=day))

    def calendar(self, day: date) -> bytes:
        """Return a day's plan as an iCalendar object (RFC 5545). Raises NotFoundError."""
        from coldtake.practice.plans.calendar import calendar_of

        state = self._log.state()
        plan = state.plans.get(day)
        if plan is None:
            raise NotFoundError(
                f"There is no plan for {day.isoformat()}.", remedy="Make a plan first."
            )
        return calendar_of(plan, state, self._log.now())

    def _dated(self, request: PlanRequest) -> PlanRequest:
        """Decide on which date the plan begins, once: the known one's while the time is its own."""
        if request.starts_on is not None:
            return request
        known = self.plan(request.day)
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
        state = self._log.state()
        known = state.plans.get(request.day)
        # A step that was deleted since is no fault of this request: the plan says so.
        before = {wish.step_id for wish in known.request.wishes} if known else set()
        for wish in request.wishes:
            if wish.step_id not in before:
                lookup.step(state, wish.step_id)


def _next_start(now: datetime) -> datetime:
    """Return the next full five minutes on the wall clock, without zone."""
    full = now.replace(tzinfo=None, second=0, microsecond=0)
    return full + timedelta(minutes=_STEP_OF_START_MIN - now.minute % _STEP_OF_START_MIN)
