"""The sessions of one day: which plan comes next, which number is free, how a long day is parted.

No session of a day is put in another one's place: each has its number, and two that would overlap
are refused. A day longer than a session may be is parted into several, with a meal between.
"""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from math import ceil

import msgspec

from coldtake.domain.days import date_to_write
from coldtake.domain.history.state import State
from coldtake.domain.plan import SESSIONS_MOST, Plan, PlanRequest
from coldtake.errors import PlanError
from coldtake.settings import value_of


def is_over(state: State, plan: Plan) -> bool:
    """Say whether a session with just this plan was begun and has ended."""
    sessions = [state.sessions[i] for i in state.sessions_on.get(plan.request.day, ())]
    mine = [s for s in sessions if s.plan.id == plan.id]
    return bool(mine) and all(s.ended_at is not None for s in mine)


def next_plan(state: State, day: date, now: datetime) -> Plan | None:
    """Return the plan of a day whose turn it is; when all were played the last one, None without.

    That is the one that begins nearest to now; of a day to come the first.
    """
    plans = state.plans_on(day)
    open_ones = [p for p in plans if not is_over(state, p)]
    if not open_ones:
        return plans[-1] if plans else None
    wall = now.replace(tzinfo=None)
    return min(open_ones, key=lambda p: abs(p.request.starts - wall))


def without_missed(state: State, day: date, now: datetime) -> State:
    """Return the state without the plans of a day whose hours went by and that were not begun."""
    wall = now.replace(tzinfo=None)
    missed = [
        p.request.session
        for p in state.plans_on(day)
        if p.request.starts + timedelta(minutes=p.minutes) <= wall and not state.started(p)
    ]
    if not missed:
        return state
    then = state.copy()
    for session in missed:
        then.drop_plan(day, session)
    return then


def free_session(state: State, day: date) -> int:
    """Return the number of a further session of a day. Raises PlanError when there are too many."""
    free = _free(state, day)
    if not free:
        raise PlanError(
            f"This day has {SESSIONS_MOST} sessions already.",
            where="session",
            remedy="Update or delete one of them.",
        )
    return free[0]


def _free(state: State, day: date) -> list[int]:
    taken = {p.request.session for p in state.plans_on(day)}
    taken |= {state.sessions[i].plan.request.session for i in state.sessions_on.get(day, ())}
    return [n for n in range(1, SESSIONS_MOST + 1) if n not in taken]


def check_apart(state: State, request: PlanRequest) -> None:
    """Raise PlanError where a session would overlap another one of its day."""
    ends = request.starts + timedelta(minutes=request.minutes)
    for plan in state.plans_on(request.day):
        theirs = plan.request
        mine = theirs.session == request.session or theirs.part_of == request.session
        over = theirs.starts + timedelta(minutes=plan.minutes)
        if mine or is_over(state, plan) or over <= request.starts or ends <= theirs.starts:
            continue
        raise PlanError(
            f"{request.starts:%H:%M} to {ends:%H:%M} overlaps the session from "
            f"{theirs.starts:%H:%M} to {over:%H:%M}.",
            where="start",
            remedy="Choose another start or fewer minutes, or delete that session.",
        )


def parts_of(state: State, request: PlanRequest) -> tuple[PlanRequest, ...]:
    """Part a day that is longer than one session may be, with a meal between; else as it is.

    The minutes given hold the meals too.
    """
    most, meal = value_of(state.settings, "session_most"), value_of(state.settings, "meal_minutes")
    if request.minutes <= most:
        return (request,)
    count = ceil((request.minutes + meal) / (most + meal))
    each = (request.minutes - (count - 1) * meal) // count
    first = msgspec.structs.replace(request, minutes=each)
    numbers = _numbers(state, request, count - 1)
    later = [_part(first, (each + meal) * n, number) for n, number in enumerate(numbers, start=1)]
    return (first, *later)


def _part(first: PlanRequest, later: int, number: int) -> PlanRequest:
    starts = first.starts + timedelta(minutes=later)
    return PlanRequest(
        day=first.day,
        starts_at=starts.time(),
        starts_on=date_to_write(first.day, starts),
        minutes=first.minutes,
        at_hand=first.at_hand,
        run_through=False,
        session=number,
        part_of=first.session,
    )


def _numbers(state: State, request: PlanRequest, count: int) -> Sequence[int]:
    """Numbers for the further parts: those that they have, then free ones."""
    mine = [p.request.session for p in parted(state, request.day, request.session)]
    free = [n for n in _free(state, request.day) if n != request.session]
    found = [*mine, *free][:count]
    if len(found) < count:
        raise PlanError(
            f"A day can have at most {SESSIONS_MOST} sessions.",
            where="minutes",
            remedy="Enter fewer minutes, or delete a session.",
        )
    return found


def parted(state: State, day: date, session: int) -> tuple[Plan, ...]:
    """Return the further parts of a long session that were not played yet."""
    plans = state.plans_on(day)
    return tuple(p for p in plans if p.request.part_of == session and not is_over(state, p))
