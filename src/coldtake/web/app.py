"""The web application: pages over the services, nothing opened here."""

from __future__ import annotations

import threading
from collections.abc import AsyncIterator, Callable, Collection
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from functools import partial
from importlib import import_module
from typing import TYPE_CHECKING

from fastapi import FastAPI
from starlette.staticfiles import StaticFiles

from coldtake.practice import rejudging
from coldtake.web import errors
from coldtake.web.rendering import STATIC, make_templates
from coldtake.web.security import Guard
from coldtake.web.sharing.gate import Gate

if TYPE_CHECKING:
    from coldtake.practice.services import Services
    from coldtake.web.pages.demo import BuildDemo
    from coldtake.web.sharing.listener import Sharing

# Each of these modules has `router(services, templates) -> APIRouter`.
MODULES = (
    "pages.pile",
    "pages.demo",
    "pages.topic",
    "pages.proposal",
    "pages.step",
    "pages.passages",
    "pages.importing",
    "pages.chart",
    "pages.changes",
    "pages.slow",
    "pages.printing",
    "pages.tomorrow",
    "pages.take",
    "pages.session",
    "api",
    "pages.progress",
    "pages.outlook",
    "pages.settings",
    "pages.work",
    "pages.data",
    "pages.share",
    "pages.tuner",
)

# What takes a second to import; the server does it while the player reads the first page.
HEAVY = (
    "coldtake.learning.memory",
    "coldtake.listening.judge",
    "coldtake.music.engraving",
    "coldtake.planning.day",
    "coldtake.planning.outlook",
)


def _warm_up(services: Services) -> None:
    import_module(HEAVY[0])
    services.evening.get_ready()  # the first step page and the first plan wait for it
    for name in HEAVY[1:]:
        import_module(name)
    rejudging.resume(services)


def _warmed(services: Services) -> Callable[[FastAPI], AbstractAsyncContextManager[None]]:
    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        warming = threading.Thread(target=_warm_up, args=(services,), name="warm-up", daemon=True)
        warming.start()
        listener = import_module("coldtake.listening.apart")  # its process warms up by itself
        threading.Thread(target=listener.warm_up, name="listener", daemon=True).start()
        yield
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
    app = FastAPI(
        title="Coldtake",
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        lifespan=_warmed(services),
    )
    templates = make_templates()
    templates.env.globals["long_work"] = services.jobs.now
    app.state.build_demo = build_demo
    app.state.sharing = sharing
    refuse = partial(errors.refused, templates=templates)
    app.add_middleware(Gate, knows=sharing.pairing.knows if sharing else _nobody, refuse=refuse)
    app.add_middleware(Guard, hosts=hosts)  # added last: the first that a request meets
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    for name in MODULES:
        module = import_module(f"coldtake.web.{name}")
        app.include_router(module.router(services, templates))
    errors.install(app, templates)
    return app


def _nobody(_secret: str) -> bool:
    """No device is paired where nothing can be shared."""
    return False
