"""Answers put right, on the page of their step."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from coldtake.domain.take import Answer
from coldtake.practice import lookup
from coldtake.practice.access import Action, needs
from coldtake.web.forms import form_fields
from coldtake.web.forms.form_fields import Fields, text_fields

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coldtake.domain.take import Try
    from coldtake.practice.services import Services

SHOWN = 20  # answers, the latest; older ones with a take have their page


def add_answers(routes: APIRouter, services: Services) -> None:
    """Add the route that puts an answer right."""

    @routes.post("/tries/{try_id}/answer")
    @needs(Action.ANSWER)
    def correct(try_id: str, fields: Fields) -> Response:
        said = form_fields.one_of(Answer, text_fields(fields).get("answer", ""), "answer")
        attempt = lookup.attempt(services.state(), try_id)
        services.answers.correct(try_id, said)
        return RedirectResponse(f"/steps/{attempt.step_id}#answers", status_code=303)


def latest(tries: Sequence[Try]) -> list[Try]:
    """Return the latest answers of a step, newest first; those of a run are changed on its page."""
    own = (t for t in tries if t.run_id is None)
    return sorted(own, key=lambda t: t.at, reverse=True)[:SHOWN]
