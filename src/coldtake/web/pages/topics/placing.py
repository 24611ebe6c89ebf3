"""Moving a topic: to waiting, current, or set aside. Where the places are full, one makes room.

A refusal is shown on the page that the hand is on, beside the topic itself: it says why, and offers
every current topic, each of which leaves and lets the wished one in by a single touch.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.domain.topic import Place, Topic
from coldtake.errors import NoRoomError
from coldtake.practice.access import Action, needs
from coldtake.settings import value_of
from coldtake.web.errors import status_of, wants_json
from coldtake.web.forms import form_fields
from coldtake.web.pages.topics.pile import TopicLine, lines_of, pile_context
from coldtake.web.pages.topics.topic import topic_context

if TYPE_CHECKING:
    from coldtake.practice.services import Services


@dataclass(frozen=True, slots=True)
class Room:
    """The places are full. topic : what is to be current; lines : what could leave for it."""

    topic: Topic
    lines: tuple[TopicLine, ...]
    limit: int
    back: str


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the route that moves a topic."""
    routes = APIRouter()

    @routes.post("/topics/{topic_id}/place")
    @needs(Action.CHANGE_TOPICS)
    def place(
        request: Request,
        topic_id: str,
        place: Annotated[str, Form()],
        back: Annotated[str, Form()] = "/",
        instead: Annotated[str, Form()] = "",
        to: Annotated[str, Form()] = "waiting",
    ) -> Response:
        back = form_fields.own_path(back)
        try:
            if instead:
                services.pile.exchange(topic_id, instead, form_fields.one_of(Place, to, "place"))
            else:
                services.pile.place(topic_id, form_fields.one_of(Place, place, "place"))
        except NoRoomError as fault:
            if wants_json(request):
                raise
            return _full(request, services, templates, fault, back)
        at = "place" if back == _path(topic_id) else f"topic-{topic_id}"
        return RedirectResponse(f"{back}#{at}", status_code=303)

    return routes


def _path(topic_id: str) -> str:
    return f"/topics/{topic_id}"


def _full(
    request: Request, services: Services, templates: Jinja2Templates, fault: NoRoomError, back: str
) -> Response:
    """Show the page that the hand is on again, with what could make room."""
    state = services.state()
    lines = [line for some in lines_of(state, services.today()).values() for line in some]
    on_topic = back == _path(fault.topic_id)
    context = topic_context(services, fault.topic_id) if on_topic else None
    room = Room(
        topic=state.topics[fault.topic_id],
        lines=tuple(line for line in lines if line.topic.id in fault.current),
        limit=value_of(state.settings, "current_topics"),
        back=back if on_topic else "/",
    )
    return templates.TemplateResponse(
        request,
        "topic.html" if on_topic else "pile.html",
        (context or pile_context(services, request)) | {"room": room},
        status_code=status_of(fault),
    )
