"""Which take of a step without notation the others are compared with."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.practice.access import Action, needs

if TYPE_CHECKING:
    from coldtake.practice.services import Services


def router(services: Services, _templates: Jinja2Templates) -> APIRouter:
    """Build the routes that choose and remove a reference take."""
    routes = APIRouter()

    @routes.post("/takes/{take_id}/reference")
    @needs(Action.CHANGE_TOPICS)
    def choose(take_id: str) -> Response:
        services.references.choose(take_id)
        return RedirectResponse(f"/takes/{take_id}", status_code=303)

    @routes.post("/steps/{step_id}/no-reference")
    @needs(Action.CHANGE_TOPICS)
    def remove(step_id: str) -> Response:
        services.references.remove(step_id)
        return RedirectResponse(f"/steps/{step_id}#takes", status_code=303)

    return routes
