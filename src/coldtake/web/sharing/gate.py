"""Who asks, and whether they may: every request is held against the table of rights.

A route declares the action that it needs; one that declares none is closed to all. Which of the two
servers a request came through is marked on the request by the server itself, so that nothing that a
client sends can change it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from http.cookies import CookieError, SimpleCookie
from typing import TYPE_CHECKING

from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute

from coldtake.errors import ColdtakeError
from coldtake.practice import access
from coldtake.practice.access import Action, Actor, Kind
from coldtake.web.bound import ACTOR
from coldtake.web.routes import READING, RouteActions, action_of, page_routes

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Receive, Scope, Send

    from coldtake.web.sharing.addresses import Address

SHARED = "coldtake.shared"  # in the scope: the host names of the shared address
COOKIE = "__Host-coldtake"  # the prefix makes browsers insist on Secure, Path=/ and no Domain

NOT_PAIRED = access.denied(Kind.STRANGER)
STRANGER_MOST = 200  # bytes; a code is nine digits, and nobody unknown sends more
TOO_MUCH = ColdtakeError(
    "A code has nine digits.", remedy="Enter the digits that the computer shows."
)


def marked_as_shared(app: ASGIApp, address: Address) -> ASGIApp:
    """Wrap the app for the second server: every request says that it came through there."""
    hosts = frozenset({str(address)})

    async def shared(scope: Scope, receive: Receive, send: Send) -> None:
        await app({**scope, SHARED: hosts}, receive, send)

    return shared


def is_shared(request: Request) -> bool:
    """Say whether a request came through the shared address."""
    return SHARED in request.scope


def is_short(headers: Headers) -> bool:
    """Say whether a body is announced and short; a stranger may not make this machine read on."""
    length = headers.get("content-length", "")
    return length.isdecimal() and int(length) <= STRANGER_MOST


def secret_of(headers: Headers) -> str:
    """Return what the device's cookie says, or nothing."""
    try:
        found = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        return ""
    return found.value if found else ""


Refuse = Callable[[Request, ColdtakeError, int], Response]
Knows = Callable[[str], bool]  # is this the paired device's secret?


class Gate:
    """ASGI middleware: finds out who asks, and refuses what they may not (`practice.access`).

    player : whose practice the pages show; routes : returns the routes, asked at the first request
    What no route answers is passed on to the app, which says so; of a device only what is read.
    """

    def __init__(
        self,
        app: ASGIApp,
        *,
        knows: Knows,
        refuse: Refuse,
        player: str = "",
        routes: Callable[[], Iterable[BaseRoute]] = page_routes,
    ) -> None:
        self.app = app
        self.knows = knows
        self.refuse = refuse
        self.player = player
        self.actions = RouteActions(routes)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on what the actor may do; refuse the rest."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":  # nothing here speaks anything else
            return
        request = Request(scope)
        scope[ACTOR] = actor = Actor(self._kind(request), self.player)
        refusal = self._refusal(request, actor)
        await (refusal or self.app)(scope, receive, send)

    def _kind(self, request: Request) -> Kind:
        if not is_shared(request):
            return Kind.PLAYER
        return Kind.DEVICE if self.knows(secret_of(request.headers)) else Kind.STRANGER

    def _refusal(self, request: Request, actor: Actor) -> Response | None:
        method, path = request.method, request.scope["path"]  # what the router goes by
        route = self.actions.route(method, path)
        if route is None and actor.kind is not Kind.STRANGER:
            known = actor.kind is Kind.PLAYER or method in READING
            return None if known else self.refuse(request, access.denied(actor.kind), 403)
        action = action_of(route, path) if route else Action.USE_TOOLS
        refusal = access.why_not(actor, action, self.player)
        if refusal is None:
            sends = action is Action.PAIR and is_shared(request) and method not in READING
            fits = not sends or is_short(request.headers)
            return None if fits else self.refuse(request, TOO_MUCH, 413)
        if actor.kind is not Kind.STRANGER:
            return self.refuse(request, refusal, 403)
        # 401, not 403: what a session page still holds is sent again once paired
        answer = self.refuse(request, refusal, 401)
        answer.headers["WWW-Authenticate"] = "Pairing"  # RFC 9110 asks for a scheme
        return answer
