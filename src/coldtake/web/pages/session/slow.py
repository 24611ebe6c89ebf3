"""A recording of one's own, slower at its own pitch, over and over between two points.

The file stays in the browser. Only the samples between the two points come here, as bare numbers,
and go back stretched; nothing of it is kept.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response
from starlette.templating import Jinja2Templates

from coldtake.errors import InputError
from coldtake.practice.access import Action, needs
from coldtake.web.forms import form_fields

if TYPE_CHECKING:
    from coldtake.practice.services import Services

LOOP_MOST_S = 60.0
AROUND_S = 1.0  # of sound on both sides, for a clean start and end
RATE_HZ = (8_000, 192_000)
SPEED_PERCENT = (40, 120)


def stretched(body: bytes, rate: int, speed: float, first_s: float, last_s: float) -> bytes:
    """Stretch 32-bit float samples, mono, little-endian, -1 to 1; the same comes back.

    Raises InputError when they are no such samples or the points do not lie in them.
    """
    import numpy as np

    from coldtake.music.playback.slowing import slowed

    if not body or len(body) % 4:
        raise InputError("The recording has no sound.", where="loop", remedy="Choose a recording.")
    samples = np.frombuffer(body, dtype="<f4")
    if not np.all(np.isfinite(samples)):
        raise InputError("This is not a recording.", where="loop", remedy="Choose a recording.")
    try:
        found = slowed(np.clip(samples, -1, 1), rate, speed, first_s, last_s)
    except ValueError:
        raise InputError(
            "Loop start and loop end are outside the recording.",
            where="loop",
            remedy="Set loop start and loop end again.",
        ) from None
    return found.astype("<f4").tobytes()


def router(_services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of the slow page."""
    routes = APIRouter()

    @routes.get("/slow")
    @needs(Action.USE_TOOLS)
    def show(request: Request) -> Response:
        return templates.TemplateResponse(request, "slow.html", {"here": ""})

    @routes.post("/slow")
    @needs(Action.USE_TOOLS)
    async def stretch(
        request: Request, rate: str = "", speed: str = "", first: str = "", last: str = ""
    ) -> Response:
        hz = form_fields.whole(rate, "rate", *RATE_HZ, "Hz")
        percent = form_fields.number(speed, "speed", *SPEED_PERCENT, "%")
        most_s = LOOP_MOST_S + 2 * AROUND_S
        first_s = form_fields.number(first, "from", 0, most_s, "s")
        last_s = form_fields.number(last, "to", 0, most_s, "s")
        body = await request.body()
        if len(body) > 4 * most_s * hz:
            raise InputError(
                f"A loop is at most {LOOP_MOST_S:.0f} seconds long.",
                where="loop",
                remedy="Set loop start and loop end closer together.",
            )
        found = await run_in_threadpool(stretched, body, hz, percent / 100, first_s, last_s)
        return Response(found, media_type="application/octet-stream")

    return routes
