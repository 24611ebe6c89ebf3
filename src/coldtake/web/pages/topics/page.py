"""One page of a topic: its picture and file, turning, cropping, pencil marks."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import msgspec
from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.domain.page import Strokes
from coldtake.errors import InputError
from coldtake.practice.access import Action, needs
from coldtake.practice.topics.pages import TopicPage
from coldtake.web.forms import form_fields
from coldtake.web.forms.form_fields import Fields, text_fields
from coldtake.web.views.page_picture import PENCIL

if TYPE_CHECKING:
    from coldtake.practice.services import Services

_MOST = 100.0  # per cent


def _strokes(text: str) -> Strokes:
    try:
        return msgspec.json.decode(text, type=Strokes)
    except (ValueError, RecursionError) as fault:
        raise InputError(
            "The pencil marks cannot be read, or there are too many.",
            where="pencil",
            remedy="Undo the last marks and try again.",
        ) from fault


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of one page."""
    routes = APIRouter()

    @routes.get("/pages/{file_id}/file")
    @needs(Action.SEE)
    def original(file_id: str) -> Response:
        data = services.pages.original(file_id)
        headers = {"Content-Disposition": "attachment"}
        return Response(data, media_type="application/octet-stream", headers=headers)

    @routes.get("/pages/{file_id}/{number}/picture.png")
    @needs(Action.SEE)
    def page_picture(file_id: str, number: int) -> Response:
        png = services.pages.picture(file_id, number).png
        return Response(png, media_type="image/png", headers={"Cache-Control": "no-cache"})

    @routes.get("/pages/{file_id}/{number}")
    @needs(Action.SEE)
    def one(request: Request, file_id: str, number: int) -> Response:
        context = _one(services, services.pages.page(file_id, number))
        return templates.TemplateResponse(request, "page.html", context)

    @routes.post("/pages/{file_id}/{number}/turn")
    @needs(Action.CHANGE_TOPICS)
    def turn(file_id: str, number: int, fields: Fields) -> Response:
        form, view = text_fields(fields), services.pages.page(file_id, number).view
        quarter = form_fields.whole(form.get("by", "0"), "turn", -1, 2)
        angle = form_fields.number(form.get("angle") or "0", "straighten", -15, 15, "degrees")
        services.pages.turn(file_id, number, (view.turn + quarter) % 4, angle)
        return RedirectResponse(f"/pages/{file_id}/{number}", status_code=303)

    @routes.post("/pages/{file_id}/{number}/crop")
    @needs(Action.CHANGE_TOPICS)
    def crop(file_id: str, number: int, fields: Fields) -> Response:
        form = text_fields(fields)
        cut = [
            form_fields.number(form.get(side) or "0", side, 0, _MOST, "%") / _MOST
            for side in ("left", "top", "right", "bottom")
        ]
        services.pages.crop(file_id, number, (cut[0], cut[1], 1 - cut[2], 1 - cut[3]))
        return RedirectResponse(f"/pages/{file_id}/{number}", status_code=303)

    @routes.post("/pages/{file_id}/{number}/pencil")
    @needs(Action.CHANGE_TOPICS)
    def pencil(file_id: str, number: int, fields: Fields) -> Response:
        strokes = _strokes(text_fields(fields).get("strokes", ""))
        services.pages.pencil(file_id, number, strokes)
        return RedirectResponse(f"/pages/{file_id}/{number}", status_code=303)

    @routes.post("/pages/{file_id}/delete")
    @needs(Action.CHANGE_TOPICS)
    def delete(file_id: str, fields: Fields) -> Response:
        deleted = text_fields(fields).get("deleted", "yes") == "yes"
        file = services.pages.delete(file_id, deleted=deleted)
        return RedirectResponse(f"/topics/{file.topic_id}/pages", status_code=303)

    return routes


def _one(services: Services, page: TopicPage) -> dict[str, Any]:
    """Return what the page of one page shows."""
    view = page.view
    shown = services.pages.of_topic(page.file.topic_id)
    place = next((n for n, other in enumerate(shown) if other.view.key == view.key), None)
    return {
        "here": "",
        "topic": services.pile.topic(page.file.topic_id),
        "page": page,
        "place": place,
        "count": len(shown),
        "before": shown[place - 1] if place else None,
        "after": shown[place + 1] if place is not None and place + 1 < len(shown) else None,
        "cut": (view.left, view.top, 1 - view.right, 1 - view.bottom),
        "strokes": msgspec.json.encode(page.strokes).decode(),
        "pencil": PENCIL,
    }
