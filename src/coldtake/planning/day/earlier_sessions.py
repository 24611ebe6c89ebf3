"""What a later session of a day knows of the earlier ones: played, or planned to be.

What was played stands in the log. What is planned before it counts as played as planned, without an
answer: its steps have had their first try of the day, so that a later session asks for no cold take
of them, and its minutes are spent. Nothing is kept: the state that follows is thrown away.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date

from coldtake.domain.history.state import State
from coldtake.domain.plan import Plan, PlanRequest
from coldtake.domain.take import Work
from coldtake.planning.value.values import StepValue


def earlier(state: State, request: PlanRequest) -> tuple[Plan, ...]:
    """Plans of the day's other sessions that begin before this one and were not begun yet."""
    return tuple(
        plan
        for plan in state.plans_on(request.day)
        if plan.request.session != request.session
        and plan.request.starts < request.starts
        and not state.started(plan)
    )


def after_earlier(state: State, request: PlanRequest) -> State:
    """Return the state in which the day's earlier sessions were played as planned."""
    plans = earlier(state, request)
    if not plans:
        return state
    then = state.copy()
    for plan in plans:
        at = plan.request.starts.replace(tzinfo=UTC)
        for slot in plan.slots:
            if slot.step_id in then.steps:
                work = Work(step_id=slot.step_id, at=at, day=request.day, minutes=slot.minutes)
                then.keep_work(work, plan.id)
    return then


def one_first_try(state: State, day: date, values: Sequence[StepValue]) -> tuple[StepValue, ...]:
    """Give no cold take any worth whose step was touched that day: it would not be the first try.

    Steps that the player insists on are not looked at here.
    """
    return tuple(replace(v, cold_value=0.0) if state.touched(v.step_id, day) else v for v in values)
