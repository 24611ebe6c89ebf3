"""Performances: when, what in which order, whether it will come out, and how it went."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Annotated

import msgspec
from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.domain.estimate import TopicOutlook
from coldtake.domain.performance import (
    Link,
    Performance,
    PieceOutlook,
    ProgrammeOutlook,
    Run,
)
from coldtake.domain.topic import Place, StepPhase
from coldtake.errors import InputError
from coldtake.planning.words import listed
from coldtake.practice.access import Action, needs
from coldtake.web.forms import form_fields
from coldtake.web.forms.form_fields import Fields, text_fields
from coldtake.web.pages.plan import appointments
from coldtake.web.pages.plan.performances_told import RunView, view_of
from coldtake.web.views import charts

if TYPE_CHECKING:
    from coldtake.domain.history.state import State
    from coldtake.practice.services import Services

LINKS_SHOWN = 5
RUNS_SHOWN = 10
ROOM_SHOWN = 0.9  # chance in the room for which the stage effect is told


@dataclass(frozen=True, slots=True)
class ProgrammePiece:
    """One piece of a programme; its title also when the topic is gone."""

    topic_id: str
    title: str
    here: bool
    waits: bool
    met: int
    steps: int


@dataclass(frozen=True, slots=True)
class LinkView:
    """One step that a programme hangs on."""

    found: Link
    title: str
    piece: str


@dataclass(frozen=True, slots=True)
class PieceView:
    """One piece's chance on the day; room : all its steps in the practice room, where planned."""

    found: PieceOutlook
    title: str
    odds: charts.Odds
    room: TopicOutlook | None


@dataclass(frozen=True, slots=True)
class PerformanceRow:
    """One performance in the list."""

    performance: Performance
    days: int
    titles: str
    told: Run | None


def pieces_of(state: State, performance: Performance) -> tuple[ProgrammePiece, ...]:
    """Read a programme in order."""
    return tuple(_piece(state, topic_id) for topic_id in performance.programme)


def _piece(state: State, topic_id: str) -> ProgrammePiece:
    topic = state.topics.get(topic_id)
    phases = state.phases(s.id for s in state.topic_steps(topic_id)).values()
    return ProgrammePiece(
        topic_id=topic_id,
        title=topic.title if topic else "a deleted topic",
        here=topic is not None,
        waits=topic is not None and topic.place is not Place.CURRENT,
        met=sum(p in (StepPhase.MET, StepPhase.HELD) for p in phases),
        steps=len(phases),
    )


def rows_of(
    services: Services, performances: tuple[Performance, ...]
) -> tuple[PerformanceRow, ...]:
    """List performances with what is known of each."""
    state, today = services.state(), services.today()
    return tuple(
        PerformanceRow(
            p,
            state.days_until(p, today),
            ", ".join(piece.title for piece in pieces_of(state, p)),
            services.performances.stage_run(p.id),
        )
        for p in performances
    )


def runs_of(services: Services, performance_id: str) -> tuple[RunView, ...]:
    """Read the newest run-throughs of a performance."""
    state = services.state()
    runs = services.performances.runs(performance_id)[:RUNS_SHOWN]
    return tuple(view_of(state, run) for run in runs)


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of performances."""
    routes = APIRouter()

    @routes.get("/performances")
    @needs(Action.SEE)
    def every(request: Request) -> Response:
        context = {
            "here": "",
            "today": services.today(),
            "upcoming": rows_of(services, services.performances.upcoming()),
            "past": rows_of(services, services.performances.past()),
            "off": tuple(services.state().performances_off.values()),
            "to_tell": {p.id for p in services.performances.to_tell()},
            **appointments.context_of(services),
        }
        return templates.TemplateResponse(request, "performances.html", context)

    @routes.get("/performances/stage")
    @needs(Action.SEE)
    def stage(request: Request) -> Response:
        effect = services.performances.effect()
        context = {
            "effect": effect,
            "room": ROOM_SHOWN,
            "there": effect.on_stage(ROOM_SHOWN),
            "told": [r for r in services.state().runs.values() if r.told],
        }
        return templates.TemplateResponse(request, "performances_stage.html", context)

    @routes.post("/performances")
    @needs(Action.CHANGE_DATES)
    def add(fields: Fields) -> Response:
        form = text_fields(fields)
        made = services.performances.add(
            form_fields.line(form.get("title", ""), "name", "Enter the name of the performance."),
            form_fields.day(form.get("on", ""), "date", today=services.today()),
            place=" ".join(form.get("place", "").split()),
        )
        return RedirectResponse(f"/performances/{made.id}", status_code=303)

    @routes.get("/performances/{performance_id}")
    @needs(Action.SEE)
    def show(request: Request, performance_id: str) -> Response:
        performance = services.performances.get(performance_id)
        return templates.TemplateResponse(
            request, "performance.html", _context(services, performance)
        )

    @routes.post("/performances/{performance_id}")
    @needs(Action.CHANGE_DATES)
    def keep(performance_id: str, fields: Fields) -> Response:
        form, known = text_fields(fields), services.performances.get(performance_id)
        same = form.get("on", "") == known.on.isoformat()
        changed = msgspec.structs.replace(
            known,
            title=form_fields.line(form.get("title", ""), "name", "A performance needs a name."),
            on=known.on
            if same
            else form_fields.day(form.get("on", ""), "date", today=services.today()),
            place=" ".join(form.get("place", "").split()),
        )
        services.performances.keep(changed)
        return RedirectResponse(f"/performances/{performance_id}", status_code=303)

    @routes.post("/performances/{performance_id}/programme")
    @needs(Action.CHANGE_DATES)
    def programme(
        performance_id: str,
        topic_id: Annotated[str, Form()] = "",
        act: Annotated[str, Form()] = "",
    ) -> Response:
        known = services.performances.get(performance_id)
        services.performances.order(performance_id, _changed(list(known.programme), topic_id, act))
        return RedirectResponse(f"/performances/{performance_id}", status_code=303)

    @routes.post("/performances/{performance_id}/off")
    @needs(Action.CHANGE_DATES)
    def take_back(performance_id: str) -> Response:
        services.performances.take_back(performance_id)
        return RedirectResponse("/performances", status_code=303)

    @routes.post("/performances/{performance_id}/on")
    @needs(Action.CHANGE_DATES)
    def put_back(performance_id: str) -> Response:
        services.performances.put_back(performance_id)
        return RedirectResponse(f"/performances/{performance_id}", status_code=303)

    @routes.get("/performances/{performance_id}/readiness")
    @needs(Action.SEE)
    def ready(request: Request, performance_id: str) -> Response:
        performance = services.performances.get(performance_id)
        found = services.performances.readiness(performance_id)
        rooms = {t.topic_id: t for t in services.reports.ahead() if t.on == found.on}
        context = _readiness(services.state(), performance, found, rooms, services.today())
        return templates.TemplateResponse(request, "performance_readiness.html", context)

    return routes


def _changed(programme: list[str], topic_id: str, act: str) -> list[str]:
    """Put a piece in, take it out, or move it; the ends are walls."""
    if act == "add":
        if not topic_id:
            raise InputError("No piece was chosen.", where="programme", remedy="Choose a topic.")
        return [*(t for t in programme if t != topic_id), topic_id]
    if topic_id not in programme:
        raise InputError("This piece is not in the programme.", remedy="Reload the page.")
    if act == "out":
        return [t for t in programme if t != topic_id]
    if act not in ("earlier", "later"):
        raise InputError(
            "This change of the programme is not known.", remedy="Use the buttons of the page."
        )
    return form_fields.moved(programme, topic_id, -1 if act == "earlier" else 1)


def _context(services: Services, performance: Performance) -> dict[str, object]:
    state, today = services.state(), services.today()
    stage = services.performances.stage_run(performance.id)
    others = [t for t in state.topics.values() if t.id not in performance.programme]
    return {
        "here": "",
        "performance": performance,
        "today": today,
        "days": state.days_until(performance, today),
        "pieces": pieces_of(state, performance),
        "others": sorted(others, key=lambda t: (t.place is not Place.CURRENT, t.title.casefold())),
        "run_views": runs_of(services, performance.id),
        "stage": view_of(state, stage) if stage else None,
    }


def readiness_words(state: State, found: ProgrammeOutlook, work: bool) -> tuple[str, ...]:
    """Say first what will be clean on the day, what will not, and what to do about it tomorrow.

    work : tomorrow is still a day for work
    """
    known = [p for p in found.pieces if p.enough]
    likely = [p.topic_id for p in known if p.chance.mid >= 0.5]
    others = [p.topic_id for p in known if p.chance.mid < 0.5]
    unknown = [p.topic_id for p in found.pieces if not p.enough]
    heads = ("More likely clean than not", "Less likely clean than not", "Not enough takes yet")
    said = [
        f"{head}: {listed([f'“{state.topics[i].title}”' for i in ids])}."
        for head, ids in zip(heads, (likely, others, unknown), strict=True)
        if ids
    ]
    weak = next((i for i in found.links if i.step_id in state.steps), None)
    if work and weak is not None:
        step = state.steps[weak.step_id]
        topic = state.topics[weak.topic_id].title
        said.append(f"Weakest step: “{topic}: {step.title}”. Practise it tomorrow.")
    return tuple(said)


def _readiness(
    state: State,
    performance: Performance,
    found: ProgrammeOutlook,
    rooms: Mapping[str, TopicOutlook],
    today: date,
) -> dict[str, object]:
    def title(topic_id: str) -> str:
        return state.topics[topic_id].title

    links = [link for link in found.links if link.step_id in state.steps][:LINKS_SHOWN]
    known = {p.topic_id for p in found.pieces if p.enough}
    rough = [state.steps[i.step_id] for i in found.links if not i.enough]
    return {
        "performance": performance,
        "found": found,
        "pieces": [
            PieceView(p, title(p.topic_id), charts.odds_of(p.chance), rooms.get(p.topic_id))
            for p in found.pieces
        ],
        "first": readiness_words(state, found, found.on - timedelta(days=1) > today),
        "rough": listed([f"“{title(s.topic_id)}: {s.title}”" for s in rough]),
        "links": [
            LinkView(link, state.steps[link.step_id].title, title(link.topic_id))
            for link in links
            if link.topic_id in known
        ],
    }
