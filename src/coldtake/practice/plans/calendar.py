"""A plan as an iCalendar object (RFC 5545): one event for the session, its slots in the text.

A day's rehearsals and lessons are events beside it. The instants are in UTC, so that no zone has to
be described; an appointment without a time takes the whole day. The UID follows from the day's
session, or from the appointment, alone: importing what has changed replaces the event in calendars
that keep to the standard.
"""

from collections.abc import Sequence
from datetime import UTC, datetime, time, timedelta

from icalendar import Calendar, Event

from coldtake.domain.criterion_words import question
from coldtake.domain.history.appointments import on_day
from coldtake.domain.history.state import State
from coldtake.domain.ids import named_id
from coldtake.domain.plan import Moment, Plan, SlotKind, session_name
from coldtake.domain.requirement import Appointment
from coldtake.planning.value.at_hand import steps_for
from coldtake.planning.value.at_hand_words import appointment_name

PRODUCT = "-//Coldtake//Practice plan//EN"
NOON = time(12)  # when an appointment without a time is taken to have been
USUAL_MIN = 60  # how long one without an end is taken to last


def calendar_of(plans: Sequence[Plan], state: State, now: datetime) -> bytes:
    """Write the plans of a day as iCalendar; `now` is aware, in the zone of the plans' clock."""
    days = dict.fromkeys(plan.request.day for plan in plans)
    meetings = [appointment_event(a, state, now) for day in days for a in on_day(state, day)]
    return written([*(session_event(plan, state, now) for plan in plans), *meetings])


def session_event(plan: Plan, state: State, now: datetime) -> Event:
    """Make the event of a planned session."""
    starts = plan.request.starts.replace(tzinfo=now.tzinfo)
    event = Event()
    event.add("uid", f"{named_id('session', session_name(plan.request))}@coldtake")
    event.add("dtstamp", now.astimezone(UTC))
    event.add("dtstart", starts.astimezone(UTC))
    event.add("dtend", starts.astimezone(UTC) + timedelta(minutes=plan.minutes))
    event.add("summary", _summary(plan, state))
    event.add("description", _description(plan, state, starts))
    return event


def appointment_calendar(appointment: Appointment, state: State, now: datetime) -> bytes:
    """Write a rehearsal or lesson as iCalendar, in the zone of `now`."""
    return written([appointment_event(appointment, state, now)])


def starts_of(appointment: Appointment, now: datetime) -> datetime:
    """Return when an appointment starts, in the zone of `now`; at noon where no time is known."""
    clock = appointment.starts_at or NOON
    return datetime.combine(appointment.on, clock, now.tzinfo)


def appointment_event(appointment: Appointment, state: State, now: datetime) -> Event:
    """Make the event of a rehearsal or lesson."""
    event = Event()
    event.add("uid", f"{appointment.id}@coldtake")
    event.add("dtstamp", now.astimezone(UTC))
    if appointment.starts_at is None:
        event.add("dtstart", appointment.on)
    else:
        starts = starts_of(appointment, now).astimezone(UTC)
        event.add("dtstart", starts)
        event.add("dtend", starts + timedelta(minutes=appointment.minutes or USUAL_MIN))
    event.add("summary", appointment_name(appointment))
    steps = steps_for(state, appointment)
    lines = [f"{_title(state, s.topic_id)} - {s.title}. {question(s.criterion)}" for s in steps]
    if lines:
        event.add("description", "\n".join(lines))
    return event


def new_calendar() -> Calendar:
    """Begin an iCalendar object."""
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    return calendar


def written(events: Sequence[Event]) -> bytes:
    """Write events as an iCalendar object."""
    calendar = new_calendar()
    for event in events:
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
