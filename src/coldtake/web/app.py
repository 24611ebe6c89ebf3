"""The web application: pages over the services, nothing opened here."""

from __future__ import annotations

import threading
from collections.abc import AsyncIterator, Callable, Collection
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from datetime import datetime
from functools import partial
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING

from fastapi import FastAPI
from starlette.staticfiles import StaticFiles

from coldtake.practice import rejudging
from coldtake.web import errors
from coldtake.web.opening import Opening
from coldtake.web.rendering import STATIC, make_templates
from coldtake.web.security import Guard
from coldtake.web.sharing.gate import Gate

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Receive, Scope, Send

    from coldtake.practice.services import Services
    from coldtake.web.pages.system.demo import BuildDemo
    from coldtake.web.sharing.listener import Sharing

# Each of these modules has `router(services, templates) -> APIRouter`.
MODULES = (
    "pages.topics.pile",
    "pages.system.reading",
    "pages.system.demo",
    "pages.topics.topic",
    "pages.topics.placing",
    "pages.topics.proposal",
    "pages.topics.step",
    "pages.topics.passages",
    "pages.topics.importing",
    "pages.topics.chart",
    "pages.topics.chances",
    "pages.topics.changes",
    "pages.session.slow",
    "pages.plan.printing",
    "pages.plan.tomorrow",
    "pages.session.takes",
    "pages.session.take",
    "pages.session.session",
    "api",
    "pages.plan.progress",
    "pages.plan.outlook",
    "pages.plan.what_if",
    "pages.topics.triage",
    "pages.plan.performances",
    "pages.plan.performances_told",
    "pages.plan.appointments",
    "pages.plan.week",
    "pages.plan.calendars",
    "pages.system.settings",
    "pages.system.work",
    "pages.system.data",
    "pages.system.share",
    "pages.session.tuner",
)

# What takes a second to import; the server does it while the player reads the first page.
HEAVY = (
    "coldtake.learning.memory",
    "coldtake.listening.melody.judge",
    "coldtake.music.notation.engraving.engraver",
    "coldtake.planning.day.plan_day",
    "coldtake.planning.outlook.summary",
)


WARM_UP_AFTER_S = 3.0  # or as soon as a page was answered


class _FirstPage:
    """Middleware that knows when the first page was answered, and when the program ends.

    The warming up takes a core for seconds; a page asked for meanwhile would wait for it.
    """

    def __init__(self, app: ASGIApp, *, answered: threading.Event) -> None:
        self._app = app
        self._answered = answered

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass everything on."""
        await self._app(scope, receive, send)
        if scope["type"] == "http":
            self._answered.set()


def _warm_up(services: Services, answered: threading.Event, started: datetime) -> None:
    services.log.get_ready()
    answered.wait(WARM_UP_AFTER_S)
    listener = import_module("coldtake.listening.worker_client")  # its process warms up by itself
    threading.Thread(target=listener.warm_up, name="listener", daemon=True).start()
    import_module(HEAVY[0])
    services.evening.get_ready()  # the first step page and the first plan wait for it
    services.back.get_ready()
    for name in HEAVY[1:]:
        import_module(name)
    services.looking.say_when_due()
    if not services.store.amiss():
        rejudging.resume(services, started)


def _warmed(
    services: Services, answered: threading.Event
) -> Callable[[FastAPI], AbstractAsyncContextManager[None]]:
    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        warming = threading.Thread(
            target=_warm_up,
            args=(services, answered, services.now()),
            name="warm-up",
            daemon=True,
        )
        warming.start()
        yield
        answered.set()
        warming.join()  # it reads the log, which may be closed now

    return lifespan


def create_app(
    services: Services,
    *,
    build_demo: BuildDemo | None = None,
    hosts: Collection[str] = (),
    sharing: Sharing | None = None,
) -> FastAPI:
    """Build the application.

    build_demo : fills an empty log with the example, telling a `Progress` how far it has come;
        the pile offers it when given
    hosts : further host names to answer under; loopback names always work
    sharing : can share the app with a paired device; the page for that says so when there is none
    """
    answered = threading.Event()
    app = FastAPI(
        title="Coldtake",
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        lifespan=_warmed(services, answered),
    )
    templates = make_templates()
    templates.env.globals["long_work"] = services.jobs.now
    templates.env.globals["log_amiss"] = services.store.amiss
    templates.env.globals["wrong_dates"] = services.misdated.groups
    app.state.build_demo = build_demo
    app.state.sharing = sharing
    refuse = partial(errors.refused, templates=templates)
    app.add_middleware(Opening, log=services.log, templates=templates)
    app.add_middleware(Gate, knows=sharing.pairing.knows if sharing else _nobody, refuse=refuse)
    app.add_middleware(_FirstPage, answered=answered)
    app.add_middleware(Guard, hosts=hosts)  # added last: the first that a request meets
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    for module in page_modules():
        app.include_router(module.router(services, templates))
    errors.install(app, templates)
    return app


def page_modules() -> tuple[ModuleType, ...]:
    """Import the pages; a start may have done so while the database was looked over."""
    return tuple(import_module(f"coldtake.web.{name}") for name in MODULES)


def _nobody(_secret: str) -> bool:
    """No device is paired where nothing can be shared."""
    return False
