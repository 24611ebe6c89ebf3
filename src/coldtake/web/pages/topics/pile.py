"""The pile: everything the player would like to work on, and which few topics are current."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.domain.history.state import State
from coldtake.domain.progress import Standing
from coldtake.domain.topic import Place, StepPhase, Topic
from coldtake.errors import InputError
from coldtake.music.theory.instruments import by_family
from coldtake.practice.access import Action, needs
from coldtake.settings import value_of
from coldtake.web.forms import form_fields

if TYPE_CHECKING:
    from coldtake.practice.services import Services


@dataclass(frozen=True, slots=True)
class TopicLine:
    """One topic as the pile shows it: its steps as marks before its date."""

    topic: Topic
    standing: Standing
    phases: tuple[StepPhase, ...]
    on: date | None
    days_left: int | None

    @property
    def words(self) -> str:
        """The steps said in words."""
        done = sum(p in (StepPhase.MET, StepPhase.HELD) for p in self.phases)
        if not self.phases:
            return "no steps yet"
        slipped = self.phases.count(StepPhase.SLIPPED)
        tail = f", {slipped} slipped" if slipped else ""
        return f"{done} of {len(self.phases)} step{'s' * (len(self.phases) > 1)} met{tail}"


@dataclass(frozen=True, slots=True)
class NewcomerWay:
    """A newcomer's way: how far it has gone, and the current topic whose step it waits for."""

    done: tuple[bool, bool, bool, bool]
    topic: Topic | None

    @property
    def finished(self) -> bool:
        """True once a session was started: then nobody needs to be led."""
        return self.done[3]


def way_of(state: State) -> NewcomerWay:
    """Say how far a newcomer has come: a current topic, its first step, plan, session."""
    current = [t for t in state.topics.values() if t.place is Place.CURRENT]
    steps = [s for t in current for s in state.topic_steps(t.id)]
    done = (bool(current), bool(steps), bool(state.plans), bool(state.sessions))
    return NewcomerWay(done, current[0] if current else None)


def lines_of(state: State, today: date) -> dict[Standing, list[TopicLine]]:
    """Sort the topics by standing; within, by the nearest date, then by importance."""
    phases = state.phases()
    standings = state.standings()
    lines: dict[Standing, list[TopicLine]] = {standing: [] for standing in Standing}
    for topic in state.topics.values():
        steps = tuple(phases[s.id] for s in state.topic_steps(topic.id))
        on = state.topic_date(topic.id, today)
        left = (on - today).days if on else None
        lines[standings[topic.id]].append(TopicLine(topic, standings[topic.id], steps, on, left))
    for some in lines.values():
        some.sort(key=_urgency)
    return lines


def _urgency(line: TopicLine) -> tuple[int, int, str]:
    left = line.days_left
    soon = left if left is not None and left >= 0 else 10**6
    return (soon, -line.topic.importance, line.topic.title.casefold())


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of the pile."""
    routes = APIRouter()

    @routes.get("/")
    @needs(Action.SEE)
    def pile(request: Request) -> Response:
        return templates.TemplateResponse(request, "pile.html", pile_context(services, request))

    @routes.post("/topics")
    @needs(Action.CHANGE_TOPICS)
    def add(
        title: Annotated[str, Form()] = "", instrument: Annotated[str, Form()] = ""
    ) -> Response:
        services.settings.remember_instrument(instrument)
        services.pile.add(form_fields.line(title, "title", "Enter what you want to work on."))
        return RedirectResponse("/", status_code=303)

    @routes.post("/first")
    @needs(Action.CHANGE_TOPICS)
    def play_first(
        title: Annotated[str, Form()] = "",
        minutes: Annotated[str, Form()] = "10",
        instrument: Annotated[str, Form()] = "",
    ) -> Response:
        line = form_fields.line(title, "title", "Enter what you want to play.")
        long = form_fields.whole(minutes, "minutes", 5, 720, "min")
        services.settings.remember_instrument(instrument)
        plan = services.quick_start.play_now(line, long)
        return RedirectResponse("/session" if plan.slots else "/", status_code=303)

    @routes.post("/topics/many")
    @needs(Action.CHANGE_TOPICS)
    def add_many(text: Annotated[str, Form()] = "") -> Response:
        if not text.strip():
            raise InputError("There is nothing to add.", remedy="Paste one topic on each line.")
        services.pile.add_many(text)
        return RedirectResponse("/", status_code=303)

    return routes


def pile_context(services: Services, request: Request) -> dict[str, Any]:
    """Return what the page of topics shows."""
    state = services.state()
    return {
        "here": "/",
        "lines": lines_of(state, services.today()),
        "limit": value_of(state.settings, "current_topics"),
        "way": way_of(state),
        "empty": not state.topics,
        "count": len(state.topics),
        "instruments": by_family(),
        "offer_demo": services.is_empty() and request.app.state.build_demo is not None,
        "first_request": services.plans.default_request(services.today()),
    }
