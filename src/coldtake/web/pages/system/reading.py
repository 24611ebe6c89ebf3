"""How far the log has been read while it is opened; the page it stands in asks once a second."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.practice.access import Action, needs
from coldtake.web import opening

if TYPE_CHECKING:
    from coldtake.practice.services import Services


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the route; nothing in it needs the log."""
    routes = APIRouter()

    @routes.get("/reading")
    @needs(Action.SEE)
    async def reading(request: Request) -> Response:  # async: no thread, all may wait for the log
        if services.reading() is not None:
            return opening.told(request, templates, services)
        if request.headers.get("hx-request"):
            return Response(headers={"HX-Refresh": "true", "Cache-Control": "no-store"})
        return RedirectResponse("/", status_code=303)

    return routes
