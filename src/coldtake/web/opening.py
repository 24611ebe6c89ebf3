"""While a long log is being read, pages are not kept waiting for it: they say how far it has come.

That is so the first time and after an update (what a log came to is then kept for the next start),
and when an event comes in that is older than all that is held ready. Ten years take some 20 s of a
processor. What is no page (scripts' requests, pictures, sound) waits, as do pages of a short log.
"""

from __future__ import annotations

import asyncio
import re
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import Response

if TYPE_CHECKING:
    from starlette.templating import Jinja2Templates
    from starlette.types import ASGIApp, Receive, Scope, Send

    from coldtake.practice.services import Services

LONG = 20_000  # events; fewer are read before somebody would have read the page that says so
PATIENCE_S = 1.0  # until it is known how long the log is
_TICK_S = 0.02
_NO_PAGE = re.compile(r"/(static|api|reading)(/|$)|.*\.[a-z]+$|.*/(sound|now|hearing)$")


class Opening:
    """ASGI middleware."""

    def __init__(self, app: ASGIApp, *, services: Services, templates: Jinja2Templates) -> None:
        self._app = app
        self._services = services
        self._templates = templates

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Say how far the reading has come, or pass the request on."""
        app: ASGIApp = self._app
        if _is_page(scope) and not self._services.is_ready() and await self._is_long():
            app = told(Request(scope), self._templates, self._services)
        await app(scope, receive, send)

    async def _is_long(self) -> bool:
        """Say whether a long log is being read now."""
        for _ in range(round(PATIENCE_S / _TICK_S)):
            reading = self._services.reading()
            if reading is not None:
                return reading[1] >= LONG
            if self._services.is_ready() or not self._services.is_preparing():
                return False
            await asyncio.sleep(_TICK_S)
        return False


def told(request: Request, templates: Jinja2Templates, services: Services) -> Response:
    """Build the page that says how far the log has been read."""
    done, total = services.reading() or (0, 0)
    context = {"here": "", "done": done, "total": total}
    headers = {"Cache-Control": "no-store"}
    return templates.TemplateResponse(request, "reading.html", context, headers=headers)


def _is_page(scope: Scope) -> bool:
    if scope["type"] != "http" or scope["method"] not in ("GET", "HEAD"):
        return False
    headers = dict(scope["headers"])
    return b"hx-request" not in headers and not _NO_PAGE.match(scope["path"])
