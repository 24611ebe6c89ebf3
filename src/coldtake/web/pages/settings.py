"""The table of settings, each explained in one line."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.settings import SETTINGS
from coldtake.web.forms import Fields, text_fields

if TYPE_CHECKING:
    from coldtake.practice.services import Services


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of the settings."""
    routes = APIRouter()

    @routes.get("/settings")
    def show(request: Request) -> Response:
        context = {"here": "/settings", "settings": SETTINGS, "values": services.settings.all()}
        return templates.TemplateResponse(request, "settings.html", context)

    @routes.post("/settings")
    def choose(fields: Fields) -> Response:
        form = text_fields(fields)
        known = services.settings.all()
        for name, text in form.items():  # one field a form in the page; several are fine
            if name not in known or text.strip() != str(known[name]):
                services.settings.choose(name, text)
        return RedirectResponse("/settings", status_code=303)

    return routes
