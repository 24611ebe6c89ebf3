"""The chart that a page's chord symbols make, clean, to read and to print."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.responses import Response
from starlette.templating import Jinja2Templates

from coldtake.errors import InputError
from coldtake.music.notation.engraving.chart_drawing import chart_svg
from coldtake.music.notation.reading.charts import chart_of
from coldtake.practice.access import Action, needs
from coldtake.web.views.chart_view import NARROW_BARS

if TYPE_CHECKING:
    from coldtake.practice.services import Services


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of charts."""
    routes = APIRouter()

    @routes.get("/passages/{passage_id}/chart")
    @needs(Action.SEE)
    def chart(request: Request, passage_id: str) -> Response:
        passage = services.pile.passage(passage_id)
        found = chart_of(passage)
        if found is None:
            raise InputError(
                "There are no chord symbols in this notation.",
                where=passage.title,
                remedy="Type the changes instead.",
            )
        context = {
            "here": "",
            "title": passage.title,
            "passage_id": passage_id,
            "key": found.key,
            "played": found.changes().bars,
            "drawing": Markup(chart_svg(found)),
            "narrow": Markup(chart_svg(found, NARROW_BARS)),
        }
        return templates.TemplateResponse(request, "chart.html", context)

    return routes
