"""Looking ahead: what will be ready on its date, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from starlette.responses import Response
from starlette.templating import Jinja2Templates

from coldtake.domain.estimate import StepOutlook, TopicOutlook
from coldtake.domain.topic import Topic
from coldtake.practice.access import Action, needs
from coldtake.web.forms import form_fields
from coldtake.web.views import charts

if TYPE_CHECKING:
    from coldtake.domain.history.state import State
    from coldtake.practice.services import Services


@dataclass(frozen=True, slots=True)
class StepAhead:
    """One step's chance on the date."""

    title: str
    step_id: str
    found: StepOutlook
    odds: charts.Odds


@dataclass(frozen=True, slots=True)
class TopicAhead:
    """One topic on its date. ready : when every step is ready; last : what counts on stage."""

    topic: Topic
    found: TopicOutlook
    ahead: charts.WeeksAhead
    steps: tuple[StepAhead, ...]
    dated: bool
    ready: str
    last: tuple[str, ...]


def topics_ahead(services: Services, minutes: float | None) -> tuple[TopicAhead, ...]:
    """Look ahead for every topic, the nearest date first, those without a date at the end."""
    from coldtake.learning.stage_log import last_steps
    from coldtake.planning.outlook.outlook_words import ready_words

    state, today = services.state(), services.today()
    found = services.reports.outlook(minutes_per_day=minutes)
    rows = [
        TopicAhead(
            topic=state.topics[one.topic_id],
            found=one,
            ahead=charts.ahead_of(one, today),
            steps=_steps(state, one),
            dated=state.topic_date(one.topic_id, one.on) == one.on,
            ready=ready_words(one),
            last=tuple(step.title for step in last_steps(state, one.topic_id)),
        )
        for one in found
        if one.topic_id in state.topics
    ]
    return tuple(sorted(rows, key=lambda r: (not r.dated, r.found.on, r.topic.title)))


def _steps(state: State, found: TopicOutlook) -> tuple[StepAhead, ...]:
    return tuple(
        StepAhead(state.steps[s.step_id].title, s.step_id, s, charts.odds_of(s.chance))
        for s in found.steps
        if s.step_id in state.steps
    )


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of the outlook."""
    routes = APIRouter()

    @routes.get("/outlook")
    @needs(Action.SEE)
    def show(request: Request, minutes: str = "") -> Response:
        asked = form_fields.maybe_whole(minutes, "minutes per day", 0, 720, "min")
        context = {
            "here": "/outlook",
            "minutes": asked,
            "body": f"/outlook/dates?minutes={minutes}",
        }
        return templates.TemplateResponse(request, "outlook.html", context)

    @routes.get("/outlook/dates")
    @needs(Action.SEE)
    def dates(request: Request, minutes: str = "") -> Response:
        asked = form_fields.maybe_whole(minutes, "minutes per day", 0, 720, "min")
        context = {"here": "/outlook", "topics": topics_ahead(services, asked)}
        return templates.TemplateResponse(request, "outlook_dates.html", context)

    return routes
