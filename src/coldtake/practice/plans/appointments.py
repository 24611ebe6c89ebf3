"""Rehearsals and lessons: entered in seconds, with the steps that only they can serve."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

import msgspec

from coldtake.domain import events as ev
from coldtake.domain.history.appointments import in_time
from coldtake.domain.history.state import State
from coldtake.domain.requirement import Appointment
from coldtake.domain.take import Answer, Judge
from coldtake.domain.topic import Step
from coldtake.errors import RuleError
from coldtake.planning.value.at_hand import steps_for
from coldtake.practice import lookup
from coldtake.practice.access import Action, needs
from coldtake.practice.state.log import Log
from coldtake.practice.validation import whole


class Appointments:
    """Use cases of rehearsals and lessons. Every change is one append, or none."""

    def __init__(self, log: Log) -> None:
        self._log = log

    @needs(Action.SEE)
    def get(self, appointment_id: str) -> Appointment:
        """Return an appointment. Raises NotFoundError."""
        return lookup.appointment(self._log.state(), appointment_id)

    @needs(Action.CHANGE_DATES)
    def add(self, on: date, **fields: Any) -> Appointment:
        """Add a rehearsal or lesson; fields are those of `Appointment`. Raises RuleError."""
        return self.keep(Appointment(id=self._log.new_id(), on=on, **fields))

    @needs(Action.CHANGE_DATES)
    def keep(self, appointment: Appointment) -> Appointment:
        """Add an appointment, or change it. Raises RuleError, NotFoundError.

        A new date lies today or later; the topics that it names are there.
        """
        title = " ".join(appointment.title.split())
        appointment = msgspec.structs.replace(appointment, title=title)
        appointment = whole(appointment, where=title)
        with self._log.deciding() as state:
            known = state.appointments.get(appointment.id)
            self._check(state, appointment, known)
            if appointment != known:
                self._log.append(ev.AppointmentKept(appointment=appointment))
        return appointment

    @needs(Action.CHANGE_DATES)
    def delete(self, appointment_id: str) -> None:
        """Delete an appointment; what was played stays, and it can be restored."""
        with self._log.deciding() as state:
            lookup.appointment(state, appointment_id)
            self._log.append(ev.AppointmentDeleted(appointment_id=appointment_id))

    @needs(Action.CHANGE_DATES)
    def restore(self, appointment_id: str) -> Appointment:
        """Restore what was deleted. Raises NotFoundError."""
        with self._log.deciding() as state:
            if appointment_id in state.appointments:
                return state.appointments[appointment_id]
            gone = lookup.appointment_off(state, appointment_id)
            self._log.append(ev.AppointmentKept(appointment=gone))
        return gone

    @needs(Action.SEE)
    def upcoming(self) -> tuple[Appointment, ...]:
        """Return what lies ahead, today included, by day and clock."""
        today = self._log.today()
        return tuple(a for a in self._ordered() if a.on >= today)

    @needs(Action.SEE)
    def past(self) -> tuple[Appointment, ...]:
        """Return what is over, the latest first."""
        today = self._log.today()
        return tuple(a for a in reversed(self._ordered()) if a.on < today)

    @needs(Action.SEE)
    def steps(self, appointment: Appointment) -> tuple[Step, ...]:
        """Return the steps that only this appointment can serve, in the order to play them."""
        return steps_for(self._log.state(), appointment)

    @needs(Action.ADD_ELSEWHERE)
    def answer(self, appointment_id: str, answers: Mapping[str, Answer]) -> None:
        """Save what steps brought at an appointment, on its own day. Raises RuleError.

        answers : by step id; each is a try answered by the player
        """
        with self._log.deciding() as state:
            appointment = lookup.appointment(state, appointment_id)
            if appointment.on > self._log.today():
                raise RuleError(
                    f"This is on {appointment.on.isoformat()}.",
                    where="answers",
                    remedy="Save the answers on that day or later.",
                )
            for step_id in answers:
                lookup.step(state, step_id)
            tried = [
                ev.TryAnswered(
                    try_id=self._log.new_id(), step_id=step_id, answer=answer, judge=Judge.PLAYER
                )
                for step_id, answer in answers.items()
            ]
            if tried:
                self._log.append(*tried, at=self._at(appointment), day=appointment.on)

    @needs(Action.SEE)
    def calendar(self, appointment_id: str) -> bytes:
        """Return an appointment as an iCalendar object (RFC 5545)."""
        from coldtake.practice.plans.calendar import appointment_calendar

        state = self._log.state()
        appointment = lookup.appointment(state, appointment_id)
        return appointment_calendar(appointment, state, self._log.now())

    def _at(self, appointment: Appointment) -> datetime | None:
        """When an appointment of an earlier day was played; None (now) for today's."""
        if appointment.on >= self._log.today():
            return None
        from coldtake.practice.plans.calendar import starts_of

        return min(starts_of(appointment, self._log.now()), self._log.now())

    def _ordered(self) -> list[Appointment]:
        return sorted(self._log.state().appointments.values(), key=in_time)

    def _check(self, state: State, appointment: Appointment, known: Appointment | None) -> None:
        today = self._log.today()
        if appointment.on < today and (known is None or known.on != appointment.on):
            raise RuleError(
                f"The date {appointment.on.isoformat()} is past; today is {today.isoformat()}.",
                where="date",
                remedy="Choose today or a later day.",
            )
        before = known.topic_ids if known else ()
        for topic_id in appointment.topic_ids:
            if topic_id not in before:
                lookup.topic(state, topic_id)
