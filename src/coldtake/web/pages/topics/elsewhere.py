"""Practice away from the tool, entered on the page of its step."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from coldtake.domain.take import Answer
from coldtake.errors import InputError
from coldtake.practice.access import Action, needs
from coldtake.practice.sessions.elsewhere import MOST_MIN
from coldtake.web.forms import form_fields
from coldtake.web.forms.form_fields import Fields, text_fields

if TYPE_CHECKING:
    from coldtake.practice.services import Services

ANSWERS = {"": None, "yes": Answer.YES, "no": Answer.NO}


def add_elsewhere(routes: APIRouter, services: Services) -> None:
    """Add the route that keeps what was played elsewhere."""

    @routes.post("/steps/{step_id}/elsewhere")
    @needs(Action.ADD_ELSEWHERE)
    def elsewhere(step_id: str, fields: Fields) -> Response:
        form = text_fields(fields)
        minutes = form_fields.whole(form.get("minutes", ""), "minutes", 1, MOST_MIN, "minutes")
        day = form_fields.past_day(form.get("day", ""), "day")
        answer = form.get("answer", "")
        if answer not in ANSWERS:
            raise InputError(
                f"“{answer}” is no answer.", where="answer", remedy="Choose yes, no or no answer."
            )
        services.elsewhere.keep(step_id, minutes, day, ANSWERS[answer])
        return RedirectResponse(f"/steps/{step_id}#tries", status_code=303)
