"""What steps need and which appointments there are, as the log has them."""

from collections.abc import Callable
from datetime import date
from typing import Any

from coldtake.domain import events as ev
from coldtake.domain.history.state import State
from coldtake.domain.requirement import Appointment, Requirement, Resource
from coldtake.domain.topic import Place, Step


def requires_of(state: State, step: Step) -> tuple[Requirement, ...]:
    """Return what playing a step needs: its topic's requirements, and its own."""
    topic = state.topics.get(step.topic_id)
    return tuple(dict.fromkeys((*(topic.requires if topic else ()), *step.requires)))


def in_use(state: State) -> tuple[Requirement, ...]:
    """Return every requirement of a topic that is not set aside, or of its steps, once."""
    topics = {t.id: t for t in state.topics.values() if t.place is not Place.LAID_ASIDE}
    found = [r for t in topics.values() for r in t.requires]
    found += [r for s in state.steps.values() if s.topic_id in topics for r in s.requires]
    order = list(Resource)
    return tuple(sorted(dict.fromkeys(found), key=lambda r: (order.index(r.what), r.note)))


def in_time(appointment: Appointment) -> tuple[date, str, str]:
    """Return where an appointment stands among others; one without a time is last of its day."""
    clock = appointment.starts_at
    return appointment.on, clock.isoformat() if clock else "24", appointment.id


def on_day(state: State, day: date) -> tuple[Appointment, ...]:
    """Return the appointments of a day, by the clock."""
    return tuple(sorted((a for a in state.appointments.values() if a.on == day), key=in_time))


def _kept(state: State, _event: ev.Event, data: ev.AppointmentKept) -> None:
    state.appointments[data.appointment.id] = data.appointment
    state.appointments_off.pop(data.appointment.id, None)


def _deleted(state: State, _event: ev.Event, data: ev.AppointmentDeleted) -> None:
    gone = state.appointments.pop(data.appointment_id, None)
    if gone:
        state.appointments_off[gone.id] = gone


HANDLERS: dict[type[ev.Data], Callable[[State, ev.Event, Any], None]] = {
    ev.AppointmentKept: _kept,
    ev.AppointmentDeleted: _deleted,
}
