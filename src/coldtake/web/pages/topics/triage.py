"""Triage of the pile: what fits before the dates and what does not; the player decides."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.domain.estimate import TopicOutlook
from coldtake.domain.topic import Place, Topic
from coldtake.errors import InputError
from coldtake.practice.access import Action, needs
from coldtake.web.forms import form_fields
from coldtake.web.forms.form_fields import Fields, text_fields

if TYPE_CHECKING:
    from coldtake.domain.history.state import State
    from coldtake.planning.triage.selection import LeftOutTopic, Triage
    from coldtake.practice.services import Services

FIELD = "place-"  # and the topic's id


@dataclass(frozen=True, slots=True)
class TriageRow:
    """One topic: what is said of it, where it is proposed to go, how it stands in the outlook."""

    topic: Topic
    on: date | None
    said: tuple[str, ...]
    proposed: Place
    ahead: TopicOutlook | None

    @property
    def moves(self) -> bool:
        """Say whether the proposal moves it."""
        return self.topic.place is not self.proposed


def rows_of(
    state: State, found: Triage, today: date, ahead: Mapping[str, TopicOutlook]
) -> dict[str, list[TriageRow]]:
    """Put the proposal into rows: now, later, left out."""
    from coldtake.planning.triage import triage_words as words

    def row(topic_id: str, said: tuple[str, ...], place: Place) -> TriageRow:
        on = state.topic_date(topic_id, today)
        return TriageRow(state.topics[topic_id], on, said, place, ahead.get(topic_id))

    def place_of(one: LeftOutTopic) -> Place:
        if one.stays:
            return Place.CURRENT
        return Place.LAID_ASIDE if one.past and one.current else Place.WAITING

    return {
        "now": [row(t.topic_id, words.taken_words(t), Place.CURRENT) for t in found.now],
        "later": [
            row(t.topic_id, words.later_words(state, t, today), Place.WAITING) for t in found.later
        ],
        "left_out": [
            row(
                t.topic_id,
                words.left_out_words(state, t, today, found.per_day_min),
                place_of(t),
            )
            for t in found.left_out
        ],
    }


def _tail(found: Triage) -> str:
    """Write the proposal as a question for the page “What if”."""
    change = found.what_if
    return urlencode(
        [
            *(("take_on", i) for i in change.take_on),
            *(("leave", i) for i in change.leave),
        ]
    )


def chosen(form: dict[str, str]) -> dict[str, Place]:
    """Read where each topic goes. Raises InputError."""
    found = {
        name.removeprefix(FIELD): form_fields.one_of(Place, value, "place")
        for name, value in form.items()
        if name.startswith(FIELD)
    }
    if not found:
        raise InputError("No topic is selected.", remedy="Use the buttons of the page.")
    return found


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of the triage."""
    routes = APIRouter()

    @routes.get("/triage")
    @needs(Action.SEE)
    def show(request: Request) -> Response:
        from coldtake.planning.triage.triage_words import proposal_words

        state, found = services.state(), services.triage.propose()
        ahead = {t.topic_id: t for t in services.reports.ahead() if t.enough}
        moved = services.triage.undoable()
        context = {
            "here": "/triage",
            "found": found,
            "said": proposal_words(state, found),
            "rows": rows_of(state, found, services.today(), ahead),
            "tail": _tail(found),
            "kept": any(t.kept_up for t in found.now),
            "moved": [state.topics[i] for i in moved if i in state.topics],
        }
        return templates.TemplateResponse(request, "triage.html", context)

    @routes.post("/triage")
    @needs(Action.CHANGE_TOPICS)
    def decide(fields: Fields) -> Response:
        services.triage.decide(chosen(text_fields(fields)))
        return RedirectResponse("/triage", status_code=303)

    @routes.post("/triage/undo")
    @needs(Action.CHANGE_TOPICS)
    def undo() -> Response:
        services.triage.undo()
        return RedirectResponse("/triage", status_code=303)

    return routes
