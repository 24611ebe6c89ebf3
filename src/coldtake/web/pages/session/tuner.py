"""Tuner and drone, to warm up; both run in the page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from starlette.responses import Response
from starlette.templating import Jinja2Templates

from coldtake.practice.access import Action, needs

if TYPE_CHECKING:
    from coldtake.practice.services import Services


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the route of the tuner."""
    routes = APIRouter()

    @routes.get("/tuner")
    @needs(Action.USE_TOOLS)
    def show(request: Request) -> Response:
        context = {"here": "/tuner", "a4": services.settings.all()["a4_hz"]}
        return templates.TemplateResponse(request, "tuner.html", context)

    return routes
