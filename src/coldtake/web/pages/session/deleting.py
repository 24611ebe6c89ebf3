"""Takes deleted for good: what would go and what stays, asked once, then done."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.errors import InputError, RuleError
from coldtake.practice.access import Action, needs
from coldtake.web.forms import form_fields
from coldtake.web.forms.form_fields import Fields, text_fields

if TYPE_CHECKING:
    from coldtake.domain.take import Take
    from coldtake.practice.services import Services


@dataclass(frozen=True, slots=True)
class ChosenTakes:
    """Which takes: one, or those of a topic (all without one) before a day."""

    take_id: str = ""
    topic_id: str = ""
    before: date | None = None

    def of(self, services: Services) -> tuple[Take, ...]:
        """Find them. Raises NotFoundError."""
        if self.take_id:
            return (services.takes.get(self.take_id),)
        return services.deleting.chosen(self.topic_id, self.before)


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of deleting takes. They come before those of one take."""
    routes = APIRouter()

    @routes.get("/takes/delete")
    @needs(Action.SEE)
    def ask(request: Request, take: str = "", topic: str = "", before: str = "") -> Response:
        choice = _choice(take, topic, before)
        return templates.TemplateResponse(request, "takes_delete.html", _asked(services, choice))

    @routes.post("/takes/delete")
    @needs(Action.DELETE_TAKES)
    def delete(fields: Fields) -> Response:
        form = text_fields(fields)
        choice = _choice(form.get("take", ""), form.get("topic", ""), form.get("before", ""))
        takes = choice.of(services)
        shown = form_fields.whole(form.get("count", ""), "number of takes", 1, 10_000_000)
        if shown != len(takes):
            raise RuleError(
                f"There are {len(takes)} such takes now. The page showed {shown}.",
                remedy="Nothing was deleted. Open the page again.",
            )
        done = services.deleting.delete([take.id for take in takes])
        told = {"deleted": done.takes, **({"left": len(done.left)} if done.left else {})}
        return RedirectResponse(f"/takes?{urlencode(told)}", status_code=303)

    return routes


def _choice(take_id: str, topic_id: str, before: str) -> ChosenTakes:
    day = form_fields.past_day(before, "before") if before else None
    if not (take_id or topic_id or day):
        raise InputError(
            "Nothing was chosen to delete.",
            where="Delete takes",
            remedy="Choose a topic or enter a date.",
        )
    return ChosenTakes(take_id, topic_id, day)


def _asked(services: Services, choice: ChosenTakes) -> dict[str, object]:
    takes = choice.of(services)
    state = services.state()
    step = state.steps.get(takes[0].step_id) if choice.take_id else None
    return {
        "here": "",
        "choice": choice,
        "takes": takes,
        "step": step,
        "topic": services.pile.topic(choice.topic_id) if choice.topic_id else None,
        "copies_to": services.care.copies_to() if services.care else None,
    }
