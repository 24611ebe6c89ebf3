"""Pages of paper: a day's plan with one press, or any set of exercises."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response
from starlette.templating import Jinja2Templates

from coldtake.domain.plan import SESSIONS_MOST
from coldtake.errors import InputError, NotFoundError
from coldtake.practice.access import Action, needs
from coldtake.web.forms import form_fields
from coldtake.web.printing.pdf import as_pdf
from coldtake.web.printing.sheets import (
    PAPERS,
    Sheet,
    exercise_sheet,
    paper_of,
    plan_sheet,
    steps_named,
)

if TYPE_CHECKING:
    from coldtake.domain.history.state import State
    from coldtake.domain.topic import Step, Topic
    from coldtake.practice.services import Services


def sheet_of_day(services: Services, day: date, paper: str, session: int | None = None) -> Sheet:
    """Lay out the plan of a session of a day, None: whose turn it is. Raises NotFoundError."""
    plan = services.plans.plan(day, session)
    if plan is None:
        remedy = "Make a plan first."
        raise NotFoundError(f"There is no plan for {day.isoformat()} yet.", remedy=remedy)
    return plan_sheet(services, plan, paper)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"“{text}” is not a date.", where="plan", remedy="Write it as 2027-01-31."
        ) from None


def _shelves(state: State) -> list[tuple[Topic, tuple[Step, ...]]]:
    """List topics that have steps, each with its steps in order."""
    topics = sorted(state.topics.values(), key=lambda t: t.title.casefold())
    shelves = [(topic, tuple(state.topic_steps(topic.id))) for topic in topics]
    return [(topic, steps) for topic, steps in shelves if steps]


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of printing."""
    routes = APIRouter()

    @routes.get("/print")
    @needs(Action.SEE)
    def choose(request: Request, topic: str = "") -> Response:
        context = {
            "here": "",
            "shelves": _shelves(services.state()),
            "chosen": topic,
            "papers": tuple(PAPERS),
        }
        return templates.TemplateResponse(request, "print_choose.html", context)

    @routes.get("/print.pdf")
    @needs(Action.SEE)
    def pages(
        plan: str = "",
        steps: Annotated[list[str] | None, Query()] = None,
        paper: str = "A4",
        session: str = "",
    ) -> Response:
        on = paper_of(paper)
        if plan:
            number = form_fields.whole(session, "session", 1, SESSIONS_MOST) if session else None
            sheet = sheet_of_day(services, _day(plan), on, number)
        elif steps:
            sheet = exercise_sheet(services, steps_named(services, steps), on)
        else:
            raise InputError(
                "No exercise is selected.", where="print", remedy="Select at least one exercise."
            )
        name = f"coldtake-{plan or 'exercises'}-{on}.pdf"
        return Response(
            as_pdf(sheet, on),
            media_type="application/pdf",
            headers={"Content-Disposition": f'inline; filename="{name}"'},
        )

    return routes
