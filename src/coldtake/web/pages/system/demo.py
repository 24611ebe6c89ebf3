"""The example: told in the background while the page shows how far it has come."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from contextvars import copy_context
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.errors import ColdtakeError, RuleError
from coldtake.practice.access import Action, needs
from coldtake.web.errors import OWN_FAULT
from coldtake.web.views.stave import Stave, StaveBar, System, edges, space_y

if TYPE_CHECKING:
    from coldtake.ports import Progress
    from coldtake.practice.services import Services

    BuildDemo = Callable[[Services, Progress | None], Any]

log = logging.getLogger(__name__)
DAYS_IN_SYSTEM = 7
TOP_PX = 6  # nothing stands above these staves


@dataclass
class DemoProgress:
    """The example being told; `ports.Progress` for whoever tells it. One at a time."""

    done: int = 0
    total: int = 1
    words: str = "Starting …"
    stopped: bool = False
    fault: ColdtakeError | None = None
    thread: threading.Thread | None = None

    def step(self, done: int, total: int, words: str) -> bool:
        """Take note of progress; False once somebody asked to stop."""
        self.done, self.total, self.words = done, total, words
        return not self.stopped

    @property
    def running(self) -> bool:
        """True while it is being told."""
        return self.thread is not None and self.thread.is_alive()

    def begin(self, build: BuildDemo, services: Services) -> None:
        """Tell it in a thread of its own; a fault is kept for the page."""
        self.done, self.total, self.words = 0, 1, "Starting …"
        self.stopped, self.fault = False, None

        def tell() -> None:
            try:
                build(services, self)
            except ColdtakeError as fault:
                self.fault = fault
            except Exception:
                log.exception("the example could not be made")
                self.fault = OWN_FAULT

        self.thread = threading.Thread(
            target=copy_context().run, args=(tell,), name="demo", daemon=True
        )
        self.thread.start()


def telling_stave(done: int, total: int) -> Stave:
    """Draw the days of the example: told ones inked, a system for each week."""
    systems = []
    for first in range(0, max(total, 1), DAYS_IN_SYSTEM):
        days = range(first, min(first + DAYS_IN_SYSTEM, max(total, 1)))
        cut = edges([1.0] * len(days), DAYS_IN_SYSTEM)
        bars = tuple(
            StaveBar(*edge, "day", "done" if day < done else "coming", space_y(1, TOP_PX))
            for day, edge in zip(days, cut, strict=True)
        )
        systems.append(System(bars, final=days.stop == max(total, 1)))
    return Stave(f"{done} of {total} days are ready", tuple(systems), top=TOP_PX)


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of the example."""
    routes = APIRouter()
    telling = DemoProgress()

    @routes.post("/demo")
    @needs(Action.FILL)
    def begin(request: Request) -> Response:
        build = request.app.state.build_demo
        if build is None or not (services.is_empty() or telling.running):
            raise RuleError(
                "The example works only if there are no topics yet.",
                remedy="Your own topics stay as they are.",
            )
        if not telling.running:
            telling.begin(build, services)
        return RedirectResponse("/demo", status_code=303)

    @routes.get("/demo")
    @needs(Action.FILL)
    def show(request: Request) -> Response:
        if telling.fault is not None:
            fault, telling.fault = telling.fault, None
            raise fault
        if not telling.running:
            if request.headers.get("hx-request"):
                return Response(headers={"HX-Redirect": "/"})
            return RedirectResponse("/", status_code=303)
        context = {
            "here": "/",
            "telling": telling,
            "stave": telling_stave(telling.done, telling.total),
        }
        return templates.TemplateResponse(request, "demo.html", context)

    @routes.post("/demo/stop")
    @needs(Action.FILL)
    def stop() -> Response:
        telling.stopped = True
        if telling.thread is not None:
            telling.thread.join(timeout=30)
        return RedirectResponse("/", status_code=303)

    return routes
