"""A plan as an iCalendar object (RFC 5545): one event for the session, its slots in the text.

The instants are in UTC, so that no zone has to be described. The UID follows from the day alone:
importing a changed plan replaces the event in calendars that keep to the standard.
"""

from datetime import UTC, datetime, timedelta

from icalendar import Calendar, Event

from coldtake.domain.ids import named_id
from coldtake.domain.plan import Moment, Plan, SlotKind
from coldtake.domain.state import State

PRODUCT = "-//Coldtake//Practice plan//EN"


def calendar_of(plan: Plan, state: State, now: datetime) -> bytes:
    """Write a plan as iCalendar; `now` is aware, its zone is the one the plan's clock runs in."""
    starts = plan.request.starts.replace(tzinfo=now.tzinfo)
    event = Event()
    event.add("uid", f"{named_id('session', plan.request.day.isoformat())}@coldtake")
    event.add("dtstamp", now.astimezone(UTC))
    event.add("dtstart", starts.astimezone(UTC))
    event.add("dtend", starts.astimezone(UTC) + timedelta(minutes=plan.minutes))
    event.add("summary", _summary(plan, state))
    event.add("description", _description(plan, state, starts))
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add_component(event)
    return bytes(calendar.to_ical())


def _title(state: State, topic_id: str) -> str:
    topic = state.topics.get(topic_id)
    return topic.title if topic else ""


def _summary(plan: Plan, state: State) -> str:
    titles = dict.fromkeys(_title(state, slot.topic_id) for slot in plan.slots)
    return ": ".join(("Practice", ", ".join(t for t in titles if t))).removesuffix(": ")


def _description(plan: Plan, state: State, starts: datetime) -> str:
    lines = [_line(moment, state) for moment in plan.along(starts)]
    if plan.run:
        what = state.topic_titles(plan.run.topic_ids)
        lines.insert(0, f"{starts:%H:%M} run-through: {what}, {plan.run.minutes} min")
    return "\n".join(lines)


def _line(moment: Moment, state: State) -> str:
    slot = moment.slot
    if slot is None:
        return f"{moment.begins:%H:%M} break, {moment.minutes} min"
    step = state.steps.get(slot.step_id)
    cold = "cold take: " if slot.kind is SlotKind.COLD else ""
    names = (_title(state, slot.topic_id), step.title if step else "")
    name = " - ".join(w for w in names if w)
    said = f"{moment.begins:%H:%M} {cold}{name}, {slot.minutes} min. {slot.question}"
    return "\n".join(line for line in (said.rstrip(), slot.reason) if line)
