"""A day's plan for the calendar, and an address to which a calendar program subscribes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter
from starlette.responses import Response
from starlette.templating import Jinja2Templates

from coldtake.practice.access import Action, needs
from coldtake.web.pages.plan.tomorrow import day_of

if TYPE_CHECKING:
    from coldtake.practice.services import Services

CALENDAR = "text/calendar; charset=utf-8"


def router(services: Services, _templates: Jinja2Templates) -> APIRouter:
    """Build the routes of calendars."""
    routes = APIRouter()

    @routes.get("/tomorrow.ics")
    @needs(Action.SEE)
    def calendar(day: str = "") -> Response:
        chosen = day_of(services, day)
        name = f"coldtake-{chosen.isoformat()}.ics"
        return Response(
            services.plans.calendar(chosen),
            media_type=CALENDAR,
            headers={"Content-Disposition": f'attachment; filename="{name}"'},
        )

    @routes.get("/calendar.ics")
    @needs(Action.SEE)
    def feed() -> Response:
        found = services.plans.calendar_feed()
        return Response(found, media_type=CALENDAR, headers={"Cache-Control": "no-cache"})

    return routes
