"""A chart: changes as a clean page, to read and to print."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.responses import Response
from starlette.templating import Jinja2Templates

from coldtake.errors import InputError
from coldtake.web.asking import Choices

if TYPE_CHECKING:
    from coldtake.music.charts import Chart
    from coldtake.practice.services import Services


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of charts."""
    routes = APIRouter()

    def page(request: Request, chart: Chart | None, **more: object) -> Response:
        context: dict[str, object] = {"here": "", "metres": Choices().metres, "drawing": ""}
        context["passage_id"] = ""
        if chart is not None:
            from coldtake.music.chart_drawing import chart_svg

            context |= {
                "drawing": Markup(chart_svg(chart)),
                "key": chart.key,
                "played": chart.changes().bars,
            }
        status = 422 if more.get("fault") else 200
        return templates.TemplateResponse(request, "chart.html", context | more, status_code=status)

    @routes.get("/chart")
    def typed(request: Request, changes: str = "", metre: str = "4/4", title: str = "") -> Response:
        asked = {"changes": changes, "metre": metre, "title": title[:200], "fault": None}
        if not changes.strip():
            return page(request, None, **asked)
        from coldtake.music.charts import read_chart

        beats = {f"{a}/{b}": (a, b) for a, b in ((2, 4), (3, 4), (4, 4), (6, 8), (9, 8), (12, 8))}
        try:
            chart = read_chart(changes[:8000], beats.get(metre, (4, 4)), title=title[:200])
        except InputError as fault:
            return page(request, None, **asked | {"fault": fault})
        return page(request, chart, **asked)

    @routes.get("/passages/{passage_id}/chart")
    def of_page(request: Request, passage_id: str) -> Response:
        from coldtake.music.charts import chart_of

        passage = services.pile.passage(passage_id)
        chart = chart_of(passage)
        if chart is None:
            raise InputError(
                "There are no chord symbols in this notation.",
                where=passage.title,
                remedy="Type the changes instead.",
            )
        asked = {"title": passage.title, "passage_id": passage_id, "fault": None}
        return page(request, chart, **asked)

    return routes
