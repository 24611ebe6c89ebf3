"""Rehearsals and lessons: what is there when, and which steps wait for it."""

from datetime import date
from typing import Any

from coldtake.domain import events as ev
from coldtake.domain.appointments import in_time
from coldtake.domain.requirement import Appointment
from coldtake.domain.state import State
from coldtake.errors import NotFoundError
from coldtake.practice import finding
from coldtake.practice.checking import whole
from coldtake.practice.log import Log


class Appointments:
    """Use cases for rehearsals and lessons. Every change is one event, or none."""

    def __init__(self, log: Log) -> None:
        self._log = log

    def add(self, on: date, **fields: Any) -> Appointment:
        """Add a rehearsal or lesson; fields are those of `Appointment`. Raises RuleError."""
        made = whole(Appointment(id=self._log.new_id(), on=on, **fields), where="rehearsal")
        with self._log.deciding() as state:
            for topic_id in made.topic_ids:
                finding.topic(state, topic_id)
            self._log.append(ev.AppointmentKept(appointment=made))
        return made

    def delete(self, appointment_id: str) -> None:
        """Delete one; it can be restored. Raises NotFoundError."""
        with self._log.deciding() as state:
            _one_of(state.appointments, appointment_id)
            self._log.append(ev.AppointmentDeleted(appointment_id=appointment_id))

    def restore(self, appointment_id: str) -> None:
        """Restore a deleted one; one that is there stays. Raises NotFoundError."""
        with self._log.deciding() as state:
            if appointment_id not in state.appointments:
                gone = _one_of(state.appointments_off, appointment_id)
                self._log.append(ev.AppointmentKept(appointment=gone))

    def upcoming(self) -> tuple[Appointment, ...]:
        """List those of today and later, the next first."""
        return _in_order(self._log.state(), self._log.today())


def _in_order(state: State, since: date) -> tuple[Appointment, ...]:
    return tuple(sorted((a for a in state.appointments.values() if a.on >= since), key=in_time))


def _one_of(known: dict[str, Appointment], appointment_id: str) -> Appointment:
    if appointment_id not in known:
        raise NotFoundError(
            "This rehearsal or lesson was not found. It may have been deleted.",
            remedy="Go to Performances.",
        )
    return known[appointment_id]
