"""What if: one change supposed, and what it costs and brings each topic."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.datastructures import QueryParams
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.domain.topic import Place, Topic
from coldtake.practice.access import Action, needs
from coldtake.practice.jobs import Stage
from coldtake.web.forms import form_fields

if TYPE_CHECKING:
    from coldtake.domain.history.state import State
    from coldtake.planning.what_if.comparison import TopicThen, TurnThen
    from coldtake.planning.what_if.what_if_scenario import WhatIf
    from coldtake.practice.plans.what_if import WhatIfAnswer
    from coldtake.practice.services import Services

HERE = "/outlook"
NAMES = (
    "take_on",
    "leave",
    "more_min",
    "free_from",
    "free_days",
    "date_of",
    "date",
    "importance_of",
    "importance",
)


@dataclass(frozen=True, slots=True)
class TopicRow:
    """One topic now and then; the difference in words, empty where nothing can be told."""

    topic: Topic
    found: TopicThen
    gain: str
    dated: bool


@dataclass(frozen=True, slots=True)
class TurnRow:
    """One topic that waits: its turn now and then, in words."""

    topic: Topic
    now: str
    then: str


def read(query: QueryParams, today: date) -> WhatIf:
    """Read a supposition from an address. Raises InputError naming the field."""
    from coldtake.planning.what_if.what_if_scenario import WhatIf

    free_days = form_fields.maybe_whole(query.get("free_days", ""), "free days", 0, 84, "days") or 0
    first = _maybe_day(query.get("free_from", ""), "first free day", today)
    return WhatIf(
        take_on=tuple(i for i in query.getlist("take_on") if i),
        leave=tuple(i for i in query.getlist("leave") if i),
        more_min=form_fields.maybe_whole(
            query.get("more_min", ""), "minutes more per day", -720, 720, "min"
        )
        or 0,
        free_from=(first or today) if free_days else None,
        free_days=free_days,
        dates=_dates(query, today),
        importances=_importances(query),
    )


def _maybe_day(text: str, where: str, today: date) -> date | None:
    return form_fields.day(text, where, today=today) if text.strip() else None


def _dates(query: QueryParams, today: date) -> dict[str, date | None]:
    topic_id = query.get("date_of", "")
    return {topic_id: _maybe_day(query.get("date", ""), "date", today)} if topic_id else {}


def _importances(query: QueryParams) -> dict[str, int]:
    topic_id = query.get("importance_of", "")
    if not topic_id:
        return {}
    return {topic_id: form_fields.whole(query.get("importance", ""), "importance", 1, 5)}


def address(query: QueryParams) -> str:
    """Write the supposition as the end of an address, the fields of this page only."""
    return urlencode([(name, value) for name, value in query.multi_items() if name in NAMES])


def _rows(state: State, answer: WhatIfAnswer) -> tuple[TopicRow, ...]:
    from coldtake.planning.what_if.what_if_messages import gained

    topics = answer.found.topics if answer.found else ()
    rows = []
    for one in topics:
        dated = one.on != one.on_now or state.topic_date(one.topic_id, one.on) == one.on
        rows.append(TopicRow(state.topics[one.topic_id], one, gained(one), dated))
    return tuple(sorted(rows, key=lambda r: (r.found.on, r.topic.title)))


def _turn_rows(state: State, turns: tuple[TurnThen, ...], today: date) -> tuple[TurnRow, ...]:
    from coldtake.planning.what_if.what_if_messages import turn_words

    return tuple(
        TurnRow(state.topics[one.topic_id], turn_words(one.now, today), turn_words(one.then, today))
        for one in turns
        if one.then is not None
    )


def _choices(state: State) -> dict[str, list[Topic]]:
    """Topics that can be chosen: to take on, and of those that are current."""
    topics = sorted(state.topics.values(), key=lambda t: t.title.casefold())
    return {
        "resting": [t for t in topics if t.place is not Place.CURRENT],
        "current": [t for t in topics if t.place is Place.CURRENT],
    }


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of the page “What if”."""
    routes = APIRouter()

    @routes.get("/what-if")
    @needs(Action.SEE)
    def show(request: Request) -> Response:
        query = request.query_params
        read(query, services.today())  # a field that cannot be read is said on the page itself
        context = {
            "here": "/what-if",
            "asked": query,
            "tail": address(query),
            "today": services.today(),
            **_choices(services.state()),
        }
        return templates.TemplateResponse(request, "what_if.html", context)

    @routes.get("/what-if/numbers")
    @needs(Action.SEE)
    def numbers(request: Request, poll: str = "") -> Response:
        from coldtake.planning.what_if.what_if_messages import sentences

        supposed = read(request.query_params, services.today())
        state = services.state()
        answer = services.what_if.ask(supposed, again=not poll)
        found = answer.found
        context = {
            "tail": address(request.query_params),
            "answer": answer,
            "stopped": answer.job.stage is Stage.STOPPED,
            "said": sentences(state, supposed, found) if found else (),
            "rows": _rows(state, answer),
            "waiting": _turn_rows(state, found.waiting, services.today()) if found else (),
        }
        return templates.TemplateResponse(request, "what_if_numbers.html", context)

    @routes.post("/what-if/stop")
    @needs(Action.RUN_TASKS)
    def stop(request: Request) -> Response:
        services.what_if.stop()
        tail = address(request.query_params)
        if request.headers.get("hx-request"):
            return RedirectResponse(f"/what-if/numbers?{tail}&poll=1", status_code=303)
        return RedirectResponse(f"/what-if?{tail}", status_code=303)

    return routes
