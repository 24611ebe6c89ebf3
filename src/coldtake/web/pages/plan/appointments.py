"""Rehearsals and lessons: entered with their date, each with the steps that wait for it.

They are listed with the performances; each has a page of its own to change it and to answer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import msgspec
from fastapi import APIRouter, Request
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.domain.criterion_words import question
from coldtake.domain.requirement import Appointment, AppointmentKind, Requirement, Resource
from coldtake.domain.take import Answer
from coldtake.domain.topic import Place, Step, Topic
from coldtake.planning.value.at_hand import steps_for
from coldtake.planning.value.at_hand_words import appointment_name, requirement_names
from coldtake.practice.access import Action, needs
from coldtake.web.forms import form_fields, requirements
from coldtake.web.forms.form_fields import Fields, text_fields

if TYPE_CHECKING:
    from collections.abc import Iterable

    from coldtake.domain.history.state import State
    from coldtake.practice.services import Services

LIST = "/performances#rehearsals"
OVER_SHOWN = 4  # the newest: who looks back further finds the answers with their steps


@dataclass(frozen=True, slots=True)
class AppointmentRow:
    """One rehearsal or lesson, what is there, and its steps in the order to play them."""

    appointment: Appointment
    name: str
    offers: str
    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class OverRow:
    """A rehearsal or lesson that is over; to_answer : nothing was said of its steps yet."""

    row: AppointmentRow
    to_answer: bool


def _answered(services: Services, row: AppointmentRow) -> bool:
    """Say whether nothing is left to ask: no step waited for it, or one has an answer that day."""
    state, day = services.state(), row.appointment.on
    tries = (t for step in row.steps for t in state.step_tries(step.id))
    return not row.steps or any(t.day == day for t in tries)


def rows_of(services: Services, found: Iterable[Appointment]) -> tuple[AppointmentRow, ...]:
    """Read rehearsals and lessons with their steps."""
    state = services.state()
    return tuple(
        AppointmentRow(a, appointment_name(a), requirement_names(a.offers), steps_for(state, a))
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
        "appointments_over": tuple(
            OverRow(row, to_answer=not _answered(services, row))
            for row in rows_of(services, services.appointments.past()[:OVER_SHOWN])
        ),
        "appointments_off": rows_of(services, (a for a in gone if a.on >= services.today())),
    }


def read_appointment(
    services: Services, fields: FormData, known: Appointment | None = None
) -> dict[str, Any]:
    """Read the form of an appointment; what it does not ask stays. Raises InputError."""
    form, state = text_fields(fields), services.state()
    on, clock = form.get("on", ""), form.get("starts_at", "").strip()
    topics = [t for t in fields.getlist("topics") if isinstance(t, str) and t in state.topics]
    same = known is not None and on == known.on.isoformat()
    return {
        "on": known.on if known and same else form_fields.day(on, "date", today=services.today()),
        "kind": form_fields.one_of(AppointmentKind, form.get("kind", "rehearsal"), "kind"),
        "title": " ".join(form.get("title", "").split()),
        "starts_at": form_fields.clock(clock, "start") if clock else None,
        "minutes": form_fields.maybe_whole(form.get("minutes", ""), "minutes", 1, 720, "min"),
        "offers": requirements.read(fields, known.offers if known else ()),
        "topic_ids": tuple(topics),
    }


def _page(services: Services, appointment: Appointment) -> dict[str, object]:
    state = services.state()
    [row] = rows_of(services, [appointment])
    return {
        "here": "",
        "today": services.today(),
        "row": row,
        "kinds": tuple(AppointmentKind),
        "offers": requirements.ticks(appointment.offers),
        "phases": state.phases(s.id for s in row.steps),
        "questions": {s.id: question(s.criterion) for s in row.steps},
        "titles": {t.id: t.title for t in state.topics.values()},
        "topics": _topics(state),
    }


def _topics(state: State) -> list[Topic]:
    """Return the topics to choose from, current ones first."""
    here = [t for t in state.topics.values() if t.place is not Place.LAID_ASIDE]
    return sorted(here, key=lambda t: (t.place is not Place.CURRENT, t.title.casefold()))


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of rehearsals and lessons."""
    routes = APIRouter()

    @routes.post("/appointments")
    @needs(Action.CHANGE_DATES)
    def add(fields: Fields) -> Response:
        services.appointments.add(**read_appointment(services, fields))
        return RedirectResponse(LIST, status_code=303)

    @routes.get("/appointments/{appointment_id}")
    @needs(Action.SEE)
    def show(request: Request, appointment_id: str) -> Response:
        context = _page(services, services.appointments.get(appointment_id))
        return templates.TemplateResponse(request, "appointment.html", context)

    @routes.post("/appointments/{appointment_id}")
    @needs(Action.CHANGE_DATES)
    def keep(appointment_id: str, fields: Fields) -> Response:
        known = services.appointments.get(appointment_id)
        services.appointments.keep(
            msgspec.structs.replace(known, **read_appointment(services, fields, known))
        )
        return RedirectResponse(f"/appointments/{appointment_id}", status_code=303)

    @routes.post("/appointments/{appointment_id}/answers")
    @needs(Action.ADD_ELSEWHERE)
    def answer(appointment_id: str, fields: Fields) -> Response:
        said = {
            name.removeprefix("answer-"): form_fields.one_of(Answer, value, "answers")
            for name, value in text_fields(fields).items()
            if name.startswith("answer-") and value
        }
        services.appointments.answer(appointment_id, said)
        return RedirectResponse(f"/appointments/{appointment_id}", status_code=303)

    @routes.get("/appointments/{appointment_id}/calendar.ics")
    @needs(Action.SEE)
    def calendar(appointment_id: str) -> Response:
        on = services.appointments.get(appointment_id).on.isoformat()
        return Response(
            services.appointments.calendar(appointment_id),
            media_type="text/calendar; charset=utf-8",
            headers={"Content-Disposition": f'attachment; filename="coldtake-{on}.ics"'},
        )

    @routes.post("/appointments/{appointment_id}/delete")
    @needs(Action.CHANGE_DATES)
    def delete(appointment_id: str) -> Response:
        services.appointments.delete(appointment_id)
        return RedirectResponse(LIST, status_code=303)

    @routes.post("/appointments/{appointment_id}/restore")
    @needs(Action.CHANGE_DATES)
    def restore(appointment_id: str) -> Response:
        services.appointments.restore(appointment_id)
        return RedirectResponse(LIST, status_code=303)

    return routes
