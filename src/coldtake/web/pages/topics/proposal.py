"""Propose steps: choose what to go by, look at the list, untick what is not wanted, keep it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.datastructures import QueryParams
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.domain.criterion_words import question
from coldtake.domain.topic import Step
from coldtake.errors import InputError, NotFoundError
from coldtake.practice.access import Action, needs
from coldtake.web.forms import form_fields, proposal_form
from coldtake.web.forms.form_fields import Fields, text_fields
from coldtake.web.pages.topics.passages import As, image_of
from coldtake.web.pages.topics.step import given_notation
from coldtake.web.views.notation import CHART, WIDTH_PX, is_chart, notation_path

if TYPE_CHECKING:
    from coldtake.practice.services import Services
    from coldtake.practice.topics.proposals.asks import Proposal


def _lines(proposal: Proposal, topic_id: str, asked: str) -> list[dict[str, object]]:
    """What the list shows of each step; notation made for the proposal has its own address."""
    titles = {step.id: step.title for step in proposal.steps}
    own = {passage.id for passage in proposal.passages}
    shown = set[str]()
    lines = []
    for step in proposal.steps:
        address = _notation(step, own, topic_id, asked)
        lines.append(
            {
                "step": step,
                "question": question(step.criterion),
                "needs": [titles[need] for need in step.needs],
                "because": proposal.because.get(step.id, ""),
                "notation": "" if address in shown else address,
            }
        )
        shown.add(address)
    return lines


def _notation(step: Step, own: set[str], topic_id: str, asked: str) -> str:
    ref = step.exercise.passage
    if ref is None or ref.passage_id not in own:
        return notation_path(step)
    shown = {"as": CHART} if is_chart(step) else {}
    query = urlencode({"passage": ref.passage_id, **shown, "ask": asked})
    return f"/topics/{topic_id}/proposal.svg?{query}"


def _form(services: Services, topic_id: str, params: QueryParams) -> dict[str, Any]:
    """What the form shows, with what was chosen so far."""
    topic = services.pile.topic(topic_id)
    query = {name: text for name, text in params.items() if text}
    query.setdefault("instrument", services.settings.instrument_for(topic))
    passages = services.state().passages.values()
    return {
        "here": "",
        "topic": topic,
        "way": proposal_form.way_of(topic.kind, query),
        "query": query,
        "ticks": proposal_form.ticked(params.getlist),
        "fresh": len(passages),
        "choices": proposal_form.choices_for(query["instrument"]),
        "passages": sorted(passages, key=lambda p: p.title.casefold()),
        "fault": None,
        "lines": (),
    }


def _proposed(services: Services, topic_id: str, form: dict[str, Any]) -> dict[str, Any]:
    """The list of steps for what the form asks. Raises InputError."""
    ask = proposal_form.read_ask(form["way"], form["query"], form["ticks"])
    proposal = services.pile.propose_steps(topic_id, ask)
    asked = proposal_form.to_text(ask)
    return {"proposal": proposal, "asked": asked, "lines": _lines(proposal, topic_id, asked)}


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of the proposal."""
    routes = APIRouter()

    @routes.get("/topics/{topic_id}/proposal")
    @needs(Action.SEE)
    def show(request: Request, topic_id: str) -> Response:
        context = _form(services, topic_id, request.query_params)
        status = 200
        if "go" in request.query_params:
            try:
                context |= _proposed(services, topic_id, context)
            except InputError as fault:
                status, context["fault"] = 422, fault
        return templates.TemplateResponse(request, "proposal.html", context, status_code=status)

    @routes.get("/topics/{topic_id}/proposal.svg")
    @needs(Action.SEE)
    def notation(
        topic_id: str,
        passage: str,
        ask: str,
        width: str = "900",
        shown: As = "",
    ) -> Response:
        from coldtake.music.notation.worker_client import passage_of

        proposal = services.pile.propose_steps(topic_id, proposal_form.from_text(ask))
        found = next((p for p in proposal.passages if p.id == passage), None)
        if found is None:
            raise NotFoundError("This notation was not found.", remedy="Suggest the steps again.")
        read = passage_of(found.text, found.format)
        svg = image_of(read, form_fields.whole(width, "width", *WIDTH_PX), shown)
        return Response(svg, media_type="image/svg+xml", headers={"Cache-Control": "no-cache"})

    @routes.post("/topics/{topic_id}/proposal")
    @needs(Action.CHANGE_TOPICS)
    def keep(topic_id: str, fields: Fields) -> Response:
        ask = proposal_form.from_text(text_fields(fields).get("ask", ""))
        proposal = services.pile.propose_steps(topic_id, ask)
        wanted = [value for value in fields.getlist("keep") if isinstance(value, str)]
        services.pile.keep_proposal(proposal, wanted)
        services.settings.remember_instrument(getattr(ask, "instrument", ""))  # asked once
        return RedirectResponse(f"/topics/{topic_id}", status_code=303)

    @routes.post("/topics/{topic_id}/proposal/passage")
    @needs(Action.CHANGE_TOPICS)
    def add_notation(topic_id: str, fields: Fields) -> Response:
        topic = services.pile.topic(topic_id)
        way = proposal_form.way_of(topic.kind, text_fields(fields))
        data, filename = given_notation(fields)
        stored = services.pile.keep_passage(data, filename)
        query = urlencode({"way": way, "passage_id": stored.id})
        return RedirectResponse(f"/topics/{topic_id}/proposal?{query}", status_code=303)

    return routes
