"""A plan as an iCalendar object (RFC 5545): one event for the session, its slots in the text.

The instants are in UTC, so that no zone has to be described. The UID follows from the day alone:
importing a changed plan replaces the event in calendars that keep to the standard.
"""

from datetime import UTC, datetime, timedelta

from icalendar import Calendar, Event

from coldtake.domain.ids import named_id
from coldtake.domain.plan import Period, Plan, SlotKind
from coldtake.domain.state import State

PRODUCT = "-//Coldtake//Practice plan//EN"


def calendar_of(plan: Plan, state: State, now: datetime) -> bytes:
    """Write a plan as iCalendar; `now` is aware, its zone is the one the plan's clock runs in."""
    starts = datetime.combine(plan.request.day, plan.request.starts_at, tzinfo=now.tzinfo)
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
    lines = []
    begins = starts
    for number, period in enumerate(plan.periods):
        if number:
            lines.append(f"{begins:%H:%M} break, {plan.rules.break_min} min")
            begins += timedelta(minutes=plan.rules.break_min)
        lines += _period_lines(period, state, begins)
        begins += timedelta(minutes=period.minutes)
    return "\n".join(lines)


def _period_lines(period: Period, state: State, begins: datetime) -> list[str]:
    lines = []
    for slot in period.slots:
        step = state.steps.get(slot.step_id)
        cold = "cold take: " if slot.kind is SlotKind.COLD else ""
        name = " - ".join(
            w for w in (_title(state, slot.topic_id), step.title if step else "") if w
        )
        lines.append(f"{begins:%H:%M} {cold}{name}, {slot.minutes} min. {slot.question}".rstrip())
        begins += timedelta(minutes=slot.minutes)
    return lines
