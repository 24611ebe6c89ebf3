"""The page at the instrument, and the service worker that lets it run without a server."""

from __future__ import annotations

import hashlib
import json
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from starlette.responses import Response
from starlette.templating import Jinja2Templates

from coldtake.errors import NotFoundError
from coldtake.practice.access import Action, needs
from coldtake.web.rendering import STATIC

if TYPE_CHECKING:
    from coldtake.practice.services import Services

SCOPE = "/session"
# A worker's own script must lie within the scope to be had without a server; what it imports need
# not.
WORKERS = {
    "/session-outbox.js": 'import "/static/session/keeping/outbox-worker.js";\n',
    "/session-ticker.js": 'import "/static/session/flow/ticker-worker.js";\n',
}
# What the page needs beside itself. Scripts that only other pages use stay out.
_KEPT = (
    "css/*.css",
    "js/look.js",
    "icon.svg",
    "session/**/*.js",
    "session/*.css",
    "vendor/idb/*.js",
)
_FONTS = "vendor/*/*.woff2"


def asset_files() -> tuple[Path, ...]:
    """Return the static files that the session page loads."""
    return tuple(sorted(p for glob in (*_KEPT, _FONTS) for p in STATIC.glob(glob)))


@lru_cache(maxsize=1)
def worker_script() -> str:
    """The service worker with the list of what to keep; its text changes when any of it does."""
    files = asset_files()
    digest = hashlib.sha256(b"".join(p.read_bytes() for p in files)).hexdigest()[:16]
    paths = [SCOPE, *WORKERS, *(f"/static/{p.relative_to(STATIC).as_posix()}" for p in files)]
    head = f"const KEPT = {json.dumps(paths)};\nconst VERSION = {json.dumps(digest)};\n"
    return head + (STATIC / "session" / "keeping" / "service-worker.js").read_text(encoding="utf-8")


def router(_services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of the session page."""
    routes = APIRouter()

    @routes.get("/session")
    @needs(Action.USE_TOOLS)
    def session(request: Request) -> Response:
        return templates.TemplateResponse(request, "session.html", {"here": "/session"})

    @routes.get("/session-worker.js")
    @needs(Action.USE_TOOLS)
    def worker() -> Response:
        headers = {"Service-Worker-Allowed": SCOPE, "Cache-Control": "no-cache"}
        return Response(worker_script(), media_type="text/javascript", headers=headers)

    @routes.get("/session-{name}.js")
    @needs(Action.USE_TOOLS)
    def part(name: str) -> Response:
        text = WORKERS.get(f"/session-{name}.js")
        if text is None:
            raise NotFoundError("There is no such script.")
        return Response(text, media_type="text/javascript", headers={"Cache-Control": "no-cache"})

    return routes
