"""The page of progress: weeks, minutes, clean tempi, and how right the forecasts were."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from starlette.responses import Response
from starlette.templating import Jinja2Templates

from coldtake.practice.access import Action, needs
from coldtake.web.views import charts

if TYPE_CHECKING:
    from coldtake.practice.reports.reports import Week
    from coldtake.practice.services import Services

WEEKS_SHOWN = 12
EXERCISES_SHOWN = 6


def _weeks(services: Services, weeks: Sequence[Week]) -> dict[str, object]:
    state, today = services.state(), services.today()
    counts = [
        (f"{w.monday.day} {w.monday:%b}", len(w.met), len(w.held), len(w.slipped)) for w in weeks
    ]
    return {
        "weeks": weeks,
        "stave": charts.weeks_stave(state, today) if weeks else None,
        "chords": charts.chords_of(counts),
        "counts": counts,
    }


def _moved(services: Services, since: date, mondays: int) -> dict[str, object]:
    from coldtake.web.views import progress_charts as drawn

    titles = {t.id: t.title for t in services.state().topics.values()}
    shown, minutes = services.progress.minutes_by_week(mondays)
    exercises = sorted(services.progress.exercises(since), key=lambda one: not one.is_open)
    moved = [one for one in exercises if one.moved]
    rest = [*moved[EXERCISES_SHOWN:], *(one for one in exercises if not one.moved)]
    return {
        "mondays": shown,
        "by_week": drawn.week_rows(minutes, titles),
        "tempi": [drawn.tempo_of(services, one) for one in moved[:EXERCISES_SHOWN]],
        "more_tempi": [(one, drawn.unit_of(one)) for one in rest],
    }


def _right(services: Services) -> dict[str, object]:
    from coldtake.learning.calibration import LEAST, IntervalOutcome
    from coldtake.learning.filter import PLAYER_ERRORS, TOOL_ERRORS
    from coldtake.web.views import progress_charts as drawn

    right = services.progress.how_right()
    kept = [one.kept for one in right.intervals]
    return {
        "right": right,
        "least": LEAST,
        "own_errors": PLAYER_ERRORS,
        "heard_errors": TOOL_ERRORS,
        "next_day_rows": drawn.said_rows(right.next_day) if right.next_day else (),
        "dates_rows": drawn.said_rows(right.dates) if right.dates else (),
        "kept": {word.value: kept.count(word) for word in IntervalOutcome},
        "topic_titles": {t.id: t.title for t in services.state().topics.values()},
    }


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the route of the progress page."""
    routes = APIRouter()

    @routes.get("/progress")
    @needs(Action.SEE)
    def show(request: Request) -> Response:
        weeks = services.reports.weeks(most=WEEKS_SHOWN)
        context: dict[str, object] = {"here": "/progress", **_weeks(services, weeks)}
        if weeks:
            context |= _moved(services, weeks[0].monday, len(weeks)) | _right(services)
        return templates.TemplateResponse(request, "progress.html", context)

    return routes
