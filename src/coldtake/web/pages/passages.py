"""Engraved notation by itself, as an image that any page can show."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter
from starlette.responses import Response
from starlette.templating import Jinja2Templates

from coldtake.domain.topic import PassageRef
from coldtake.web import forms

if TYPE_CHECKING:
    from coldtake.practice.services import Services

WIDTH_PX = (200, 3000)


def router(services: Services, _templates: Jinja2Templates) -> APIRouter:
    """Build the route of the notation."""
    routes = APIRouter()

    @routes.get("/passages/{passage_id}.svg")
    def notation(passage_id: str, first: str = "", last: str = "", width: str = "900") -> Response:
        from coldtake.music.engraving import engrave

        ref = PassageRef(
            passage_id=passage_id,
            first_bar=forms.maybe_whole(first, "first bar", 1, 100_000),
            last_bar=forms.maybe_whole(last, "last bar", 1, 100_000),
        )
        passage = services.pile.passages.selected(ref)
        svg = engrave(passage, width_px=forms.whole(width, "width", *WIDTH_PX))
        return Response(svg, media_type="image/svg+xml", headers={"Cache-Control": "no-cache"})

    return routes
