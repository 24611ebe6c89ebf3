"""Rehearsals and lessons: entered with their date, each with the steps that wait for it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.domain.requirement import Appointment, AppointmentKind, Requirement, Resource
from coldtake.domain.topic import Step
from coldtake.web import forms, requirements
from coldtake.web.forms import Fields, text_fields

if TYPE_CHECKING:
    from collections.abc import Iterable

    from coldtake.practice.services import Services

LIST = "/performances#rehearsals"


@dataclass(frozen=True, slots=True)
class AppointmentRow:
    """One rehearsal or lesson, what is there, and its steps in the order to play them."""

    appointment: Appointment
    name: str
    offers: str
    steps: tuple[Step, ...]


def rows_of(services: Services, found: Iterable[Appointment]) -> tuple[AppointmentRow, ...]:
    """Read rehearsals and lessons with their steps."""
    from coldtake.planning.at_hand import steps_for
    from coldtake.planning.at_hand_words import kind_name, requirement_names

    state = services.state()
    return tuple(
        AppointmentRow(
            a, a.title or kind_name(a.kind), requirement_names(a.offers), steps_for(state, a)
        )
        for a in found
    )


def context_of(services: Services) -> dict[str, object]:
    """Return what the list shows. A new one is with other people, if nothing is said."""
    there = (Requirement(what=Resource.PEOPLE),)
    gone = services.state().appointments_off.values()
    return {
        "kinds": tuple(AppointmentKind),
        "offers": requirements.ticks(there),
        "appointments": rows_of(services, services.appointments.upcoming()),
        "appointments_off": rows_of(services, (a for a in gone if a.on >= services.today())),
    }


def router(services: Services, _templates: Jinja2Templates) -> APIRouter:
    """Build the routes of rehearsals and lessons; they are listed with the performances."""
    routes = APIRouter()

    @routes.post("/appointments")
    def add(fields: Fields) -> Response:
        form = text_fields(fields)
        clock = form.get("starts_at", "")
        services.appointments.add(
            forms.day(form.get("on", ""), "date", today=services.today()),
            kind=forms.one_of(AppointmentKind, form.get("kind", "rehearsal"), "kind"),
            title=" ".join(form.get("title", "").split())[:200],
            starts_at=forms.clock(clock, "start") if clock else None,
            minutes=forms.maybe_whole(form.get("minutes", ""), "minutes", 1, 720),
            offers=requirements.read(fields),
        )
        return RedirectResponse(LIST, status_code=303)

    @routes.post("/appointments/{appointment_id}/delete")
    def delete(appointment_id: str) -> Response:
        services.appointments.delete(appointment_id)
        return RedirectResponse(LIST, status_code=303)

    @routes.post("/appointments/{appointment_id}/restore")
    def restore(appointment_id: str) -> Response:
        services.appointments.restore(appointment_id)
        return RedirectResponse(LIST, status_code=303)

    return routes
