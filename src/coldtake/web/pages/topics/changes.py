"""Typed changes as a chart on a clean page, played with an accompaniment."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.errors import InputError
from coldtake.music.notation.reading.charts import Chart, read_chart
from coldtake.music.playback.accompaniment import feels_for
from coldtake.practice.access import Action, needs
from coldtake.units import METRONOME_MARKS
from coldtake.web.forms import form_fields
from coldtake.web.pages.topics.passages import TONES
from coldtake.web.views.chart_view import chart_image
from coldtake.web.views.notation import WIDTH_PX
from coldtake.web.views.sound_score import PLAIN_BPM, changes_score, unit_of

if TYPE_CHECKING:
    from coldtake.practice.services import Services

METRES = ("4/4", "3/4", "2/4", "2/2", "6/8", "12/8", "5/4", "7/8")
TEXT_MOST = 4000


def chart_from(text: str, metre: str) -> Chart:
    """Read a chart from an address. Raises InputError, PassageError."""
    found = re.fullmatch(r"(\d{1,2})/(1|2|4|8|16)", metre.strip())
    if found is None or not 1 <= int(found[1]) <= 32:
        raise InputError(f"“{metre}” is no metre.", where="metre", remedy="Write it as 4/4.")
    if len(text) > TEXT_MOST:
        raise InputError(
            f"These changes are {len(text)} characters long; {TEXT_MOST} is the limit.",
            where="changes",
            remedy="Give one chorus.",
        )
    return read_chart(text, (int(found[1]), int(found[2])))


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of changes."""
    routes = APIRouter()

    @routes.get("/changes")
    @needs(Action.USE_TOOLS)
    def show(request: Request, text: str = "", metre: str = "4/4") -> Response:
        context: dict[str, Any] = {"here": "", "text": text, "metre": metre, "metres": METRES}
        if text.strip():
            context |= _desk(services, chart_from(text, metre), text, metre)
        else:
            context |= {"svg": ""}
        return templates.TemplateResponse(request, "changes.html", context)

    @routes.get("/changes.svg")
    @needs(Action.USE_TOOLS)
    def drawing(text: str = "", metre: str = "4/4", width: str = "900") -> Response:
        svg = chart_image(chart_from(text, metre), form_fields.whole(width, "width", *WIDTH_PX))
        return Response(svg, media_type="image/svg+xml")

    @routes.get("/changes.json")
    @needs(Action.USE_TOOLS)
    def score(text: str = "", metre: str = "4/4", feel: str = "") -> Response:
        a4_hz = services.settings.all()["a4_hz"]
        return JSONResponse(changes_score(chart_from(text, metre), a4_hz=a4_hz, feel=feel))

    return routes


def _desk(services: Services, chart: Chart, text: str, metre: str) -> dict[str, Any]:
    """Return what the player's controls show."""
    query = urlencode({"text": text, "metre": metre})
    values = services.settings.all()
    unit = unit_of(chart.metre)
    return {
        "title": "Changes",
        "score": f"/changes.json?{query}",
        "svg": f"/changes.svg?{query}",
        "wav": "",
        "voiced": False,
        "mark": PLAIN_BPM,
        "unit": unit,
        "marks": METRONOME_MARKS,
        "beats": max(1, round(float(chart.bar) / unit)),
        "count_in": 1,
        "feels": feels_for(chart.changes()),
        "tones": TONES,
        "tonic": chart.key.tonic.pitch_class,
        "a4_hz": values["a4_hz"],
        "click_volume": values["click_volume"],
    }
