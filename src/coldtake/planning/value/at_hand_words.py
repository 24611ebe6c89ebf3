"""What a step needs and what it waits for, in words."""

from collections.abc import Sequence
from datetime import date

from coldtake.domain.history.state import State
from coldtake.domain.requirement import Appointment, AppointmentKind, Requirement, Resource
from coldtake.domain.topic import Step
from coldtake.planning.value.at_hand import next_for
from coldtake.planning.words import listed, weekday

_NAMES = {
    Resource.PEOPLE: "other people",
    Resource.PLACE: "a special place",
    Resource.INSTRUMENT: "another instrument",
    Resource.PIANO: "a piano",
    Resource.QUIET: "quiet",
    Resource.RECORDER: "a recording device",
}


def requirement_name(requirement: Requirement) -> str:
    """Name one requirement: “other people (the other four)”."""
    name = _NAMES[requirement.what]
    return f"{name} ({requirement.note})" if requirement.note else name


def requirement_names(requirements: Sequence[Requirement]) -> str:
    """Name some requirements in one phrase."""
    return listed([requirement_name(r) for r in requirements])


def kind_name(kind: AppointmentKind) -> str:
    """Name a kind of appointment, as a label begins."""
    return "Appointment" if kind is AppointmentKind.OTHER else kind.value.capitalize()


def appointment_name(appointment: Appointment) -> str:
    """Name an appointment: “Rehearsal: the quintet”."""
    kind = kind_name(appointment.kind)
    return f"{kind}: {appointment.title}" if appointment.title else kind


def waits_for(state: State, step: Step, lacking: Sequence[Requirement], day: date) -> str:
    """Say what a step waits for, and when that is there; looked for from `day` on."""
    found = next_for(state, step, day)
    return f"Needs {requirement_names(lacking)}. {_next(found, lacking, day)}"


def wished_without(step: Step, lacking: Sequence[Requirement]) -> str:
    """Say that a step is in the plan although something it needs was not said to be there."""
    needs = f"“{step.title}” needs {requirement_names(lacking)}"
    return f"{needs}. It is in the plan because you added it."


def _next(found: Appointment | None, lacking: Sequence[Requirement], day: date) -> str:
    if found is not None:
        return f"Next {kind_name(found.kind).lower()}: {weekday(found.on, day)}."
    if any(r.what is Resource.PEOPLE for r in lacking):
        return "No rehearsal or lesson is planned."
    return "Enter above when you have it."
