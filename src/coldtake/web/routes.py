"""The pages, and which action each of their routes needs (`practice.access.needs`)."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from importlib import import_module
from typing import TYPE_CHECKING

from jinja2 import Environment
from starlette.routing import BaseRoute, Match, Mount, Route
from starlette.templating import Jinja2Templates

from coldtake.practice.access import Action, needed_by
from coldtake.web.bound import practice

if TYPE_CHECKING:
    from types import ModuleType

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
    "pages.topics.pages",
    "pages.topics.page",
    "pages.topics.importing",
    "pages.topics.chart",
    "pages.topics.chances",
    "pages.topics.changes",
    "pages.session.slow",
    "pages.plan.printing",
    "pages.plan.tomorrow",
    "pages.session.takes",
    "pages.session.reference",
    "pages.session.deleting",
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

# What the pairing page is drawn with; all other static files are for who may use the tools.
PAIRING_FILES = frozenset(
    {
        "/static/css/tokens.css",
        "/static/css/base.css",
        "/static/css/stave.css",
        "/static/css/share.css",
        "/static/js/theme.js",
        "/static/js/pair.js",
        "/static/icon.svg",
        "/static/vendor/figtree/figtree-latin-wght-normal.woff2",
        "/static/vendor/atkinson/atkinson-hyperlegible-next-latin-wght-normal.woff2",
        "/static/vendor/atkinson/atkinson-hyperlegible-next-latin-ext-wght-normal.woff2",
    }
)
READING = ("GET", "HEAD")


def page_modules() -> tuple[ModuleType, ...]:
    """Import the pages; a start may have done so while the database was looked over."""
    return tuple(import_module(f"coldtake.web.{name}") for name in MODULES)


def page_routes() -> list[BaseRoute]:
    """Build the routes of all pages, to look at what they declare."""
    templates = Jinja2Templates(env=Environment(autoescape=True))
    return [r for m in page_modules() for r in m.router(practice(), templates).routes]


class RouteActions:
    """Which action a request needs, by the route that answers it.

    routes : returns the routes; asked at the first request, when all have been added
    """

    def __init__(self, routes: Callable[[], Iterable[BaseRoute]]) -> None:
        self._find = routes
        self._routes: tuple[BaseRoute, ...] = ()

    def route(self, method: str, path: str) -> BaseRoute | None:
        """Return the route that answers, None where there is no such address."""
        self._routes = self._routes or tuple(self._find())
        asked = "GET" if method in READING else method
        for one in dict.fromkeys((path, path.rstrip("/"))):
            scope = {"type": "http", "method": asked, "path": one, "root_path": "", "headers": []}
            for route in self._routes:
                if route.matches(scope)[0] is Match.FULL:
                    return route
        return None


def action_of(route: BaseRoute, path: str) -> Action | None:
    """Return the action that a route needs for a path, None where it declares none."""
    if isinstance(route, Mount):
        return Action.PAIR if path in PAIRING_FILES else Action.USE_TOOLS
    return needed_by(route.endpoint) if isinstance(route, Route) else None
