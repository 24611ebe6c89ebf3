"""`coldtake plan`: a day's plan in words or JSON."""

from argparse import Namespace
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

import msgspec

from coldtake.cli.opened import print_json, services_of
from coldtake.domain.history.appointments import on_day
from coldtake.domain.plan import Moment, Plan, Slot, SlotKind
from coldtake.domain.requirement import Requirement, Resource

if TYPE_CHECKING:
    from coldtake.domain.history.state import State
    from coldtake.practice.services import Services


def run(arguments: Namespace) -> int:
    """Print the day's plan; it is made when there is none, or when minutes or start are given."""
    with services_of(arguments) as services:
        plan = _plan(services, arguments)
        state = services.state()
        day = services.plans.plans(plan.request.day)
    if arguments.json:
        print_json(plan)
    else:
        print("\n".join([*lines_of(plan, state), *_day_lines(day)]))
    return 0


def _plan(services: "Services", arguments: Namespace) -> Plan:
    day = _day_of(services, arguments.day)
    session = _session_of(services, day, arguments)
    known = services.plans.plan(day, session)
    changed = (arguments.minutes, arguments.start, arguments.at_hand)
    if known and all(one is None for one in changed):
        return known
    request = known.request if known else services.plans.default_request(day, session)
    if arguments.minutes is not None:
        request = msgspec.structs.replace(request, minutes=arguments.minutes)
    if arguments.start is not None:
        request = msgspec.structs.replace(request, starts_at=arguments.start, starts_on=None)
    if arguments.at_hand is not None:
        there = _at_hand(services, arguments.at_hand)
        request = msgspec.structs.replace(request, at_hand=there)
    return services.plans.propose(request)


def _session_of(services: "Services", day: date, arguments: Namespace) -> int:
    """Return the session that is meant: by its number, by its start, or whose turn it is.

    A start at which no session of the day begins asks for a further one: nothing gives way to it.
    """
    if arguments.session is not None:
        return int(arguments.session)
    plans = services.plans.plans(day)
    same = [p for p in plans if arguments.start in (None, p.request.starts_at)]
    if plans and not same:
        return services.plans.new_session(day)
    turn = services.plans.plan(day)
    if arguments.start is None and turn is not None:
        return turn.request.session
    return same[0].request.session if same else 1


def _at_hand(services: "Services", said: list[tuple[str, str]]) -> tuple[Requirement, ...] | None:
    """Add what was said to what usually is there; None where nothing was."""
    from coldtake.planning.value.at_hand import usually_at_hand

    more = [Requirement(what=Resource(what), note=note) for what, note in said if what != "none"]
    usual = usually_at_hand(services.state())
    return tuple(dict.fromkeys((*more, *usual))) if more else None


def _day_of(services: "Services", given: date | timedelta | None) -> date:
    if isinstance(given, date):
        return given
    return services.today() + (timedelta(days=1) if given is None else given)


def _day_lines(plans: Sequence[Plan]) -> list[str]:
    """Name the sessions of a day that has several, and say whether it is long."""
    from coldtake.planning.day.load import long_day

    named = (f"{p.request.session}: {p.request.starts_at:%H:%M}, {p.minutes} min" for p in plans)
    sessions = [f"Sessions of this day: {'; '.join(named)}"] if len(plans) > 1 else []
    long = long_day(plans)
    return [*sessions, f"Note: {long}"] if long else sessions


def lines_of(plan: Plan, state: "State") -> list[str]:
    """Write a plan as lines of text, with the time of day at each slot and break."""
    begins = datetime.combine(plan.request.day, plan.request.starts_at)
    if not plan.slots:
        return list(plan.remarks)
    lines = [f"{plan.request.day:%A, %d %B %Y}: {plan.minutes} min from {begins:%H:%M}"]
    if plan.run:
        what = state.topic_titles(plan.run.topic_ids)
        lines.append(f"{begins:%H:%M}  Run-through: {what}, {plan.run.minutes} min")
        lines.append(f"       {plan.run.reason}")
    for moment in plan.along(begins):
        lines += _moment_lines(moment, state)
    lines += _appointment_lines(plan, state)
    return [*lines, *(f"Note: {remark}" for remark in plan.remarks)]


def _appointment_lines(plan: Plan, state: "State") -> list[str]:
    from coldtake.planning.value.at_hand import steps_for
    from coldtake.planning.value.at_hand_words import appointment_name

    lines = []
    for appointment in on_day(state, plan.request.day):
        clock = f"{appointment.starts_at:%H:%M}" if appointment.starts_at else "     "
        lines.append(f"{clock}  {appointment_name(appointment)}")
        lines += [f"       {step.title}" for step in steps_for(state, appointment)]
    return lines


def _moment_lines(moment: Moment, state: "State") -> list[str]:
    slot = moment.slot
    if slot is None:
        return [f"{moment.begins:%H:%M}  break, {moment.minutes} min"]
    more = (slot.question, slot.goal, slot.reason)
    said = [f"       {words}" for words in more if words]
    return [f"{moment.begins:%H:%M}  {_title(slot, state)}, {slot.minutes} min", *said]


def _title(slot: Slot, state: "State") -> str:
    topic, step = state.topics.get(slot.topic_id), state.steps.get(slot.step_id)
    name = " - ".join(thing.title for thing in (topic, step) if thing)
    return f"Cold take: {name}" if slot.kind is SlotKind.COLD else name
