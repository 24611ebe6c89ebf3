"""The web application: pages over the services, nothing opened here."""

from __future__ import annotations

import threading
from collections.abc import AsyncIterator, Callable, Collection
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from datetime import datetime
from functools import partial
from importlib import import_module
from typing import TYPE_CHECKING, TypeVar

from fastapi import FastAPI
from starlette.routing import Mount
from starlette.staticfiles import StaticFiles

from coldtake.errors import AccessError
from coldtake.practice.access import Kind
from coldtake.web import errors
from coldtake.web.bound import Binding, practice
from coldtake.web.opening import Opening
from coldtake.web.rendering import STATIC, make_templates
from coldtake.web.routes import MODULES, page_modules
from coldtake.web.security import Guard
from coldtake.web.sharing.gate import Gate
from coldtake.web.speaking import Speaking

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Receive, Scope, Send

    from coldtake.practice.services import House, Services
    from coldtake.web.pages.system.demo import BuildDemo
    from coldtake.web.sharing.listener import Sharing

__all__ = ["MODULES", "create_app"]
T = TypeVar("T")
D = TypeVar("D")
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
    services.get_ready()
    answered.wait(WARM_UP_AFTER_S)
    listener = import_module("coldtake.listening.worker_client")  # its process warms up by itself
    threading.Thread(target=listener.warm_up, name="listener", daemon=True).start()
    import_module(HEAVY[0])
    services.plans.get_ready()  # the first step page and the first plan wait for it
    services.progress.get_ready()
    for name in HEAVY[1:]:
        import_module(name)
    services.reports.say_when_due()
    if not services.amiss():
        services.rejudging.resume(started)


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
    house: House,
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
    answered, tool = threading.Event(), house.own(Kind.TOOL)
    app = FastAPI(
        title="Coldtake",
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        lifespan=_warmed(tool, answered),
    )
    templates = make_templates()
    services = practice()
    templates.env.globals["long_work"] = _if_may(lambda: services.jobs.now(), None)
    templates.env.globals["log_amiss"] = _if_may(lambda: services.amiss(), "")
    templates.env.globals["wrong_dates"] = _if_may(lambda: services.misdated.groups(), ())
    app.state.build_demo = build_demo
    app.state.sharing = sharing
    refuse = partial(errors.refused, templates=templates)
    static = Mount("/static", StaticFiles(directory=STATIC), name="static")
    routers = [module.router(services, templates) for module in page_modules()]
    routes = [static, *(route for router in routers for route in router.routes)]
    app.add_middleware(Speaking, services=services)  # added first: the last one, its log is open
    app.add_middleware(Opening, services=tool, templates=templates)
    app.add_middleware(Binding, house=house)
    app.add_middleware(
        Gate,
        knows=sharing.pairing.knows if sharing else _nobody,
        refuse=refuse,
        player=house.player,
        routes=lambda: routes,
    )
    app.add_middleware(_FirstPage, answered=answered)
    app.add_middleware(Guard, hosts=hosts)  # added last: the first that a request meets
    app.router.routes.append(static)
    for router in routers:
        app.include_router(router)
    errors.install(app, templates)
    return app


def _if_may(ask: Callable[[], T], otherwise: D) -> Callable[[], T | D]:
    """Let templates ask what not everybody may know; strangers are told nothing."""

    def told() -> T | D:
        try:
            return ask()
        except AccessError:
            return otherwise

    return told


def _nobody(_secret: str) -> bool:
    """No device is paired where nothing can be shared."""
    return False
