"""A step's chances from tomorrow to its date: fetched by its page, for it takes a while."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from starlette.responses import Response
from starlette.templating import Jinja2Templates

from coldtake.practice.access import Action, needs

if TYPE_CHECKING:
    from coldtake.practice.services import Services


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the route."""
    routes = APIRouter()

    @routes.get("/steps/{step_id}/chances")
    @needs(Action.SEE)
    def ahead(request: Request, step_id: str) -> Response:
        found = services.chances.of_step(step_id)
        return templates.TemplateResponse(request, "step_chances.html", {"c": found})

    return routes
