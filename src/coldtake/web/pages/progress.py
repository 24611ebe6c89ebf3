"""Looking back: the weeks, what became of steps, and where the minutes went."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from starlette.responses import Response
from starlette.templating import Jinja2Templates

from coldtake.web import charts

if TYPE_CHECKING:
    from coldtake.practice.services import Services

WEEKS_SHOWN = 12


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the route of the progress page."""
    routes = APIRouter()

    @routes.get("/progress")
    def show(request: Request) -> Response:
        state, today = services.state(), services.today()
        weeks = services.looking.weeks(most=WEEKS_SHOWN)
        counts = [
            (f"{w.monday.day} {w.monday:%b}", len(w.met), len(w.held), len(w.slipped))
            for w in weeks
        ]
        titles = {t.id: t.title for t in state.topics.values()}
        context = {
            "here": "/progress",
            "weeks": weeks,
            "stave": charts.weeks_stave(state, today) if weeks else None,
            "chords": charts.chords_of(counts),
            "counts": counts,
            "strokes": charts.strokes_of(services.looking.minutes_by_topic(), titles),
            "played_min": sum(w.minutes for w in weeks),
        }
        return templates.TemplateResponse(request, "progress.html", context)

    return routes
