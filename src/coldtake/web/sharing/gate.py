"""What may be asked for on the shared address. Whatever is not named here is refused.

Which of the two servers a request came through is marked on the request by the server itself, so
that nothing that a client sends can change it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from http.cookies import CookieError, SimpleCookie
from typing import TYPE_CHECKING

from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import Response

from coldtake.errors import ColdtakeError

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Receive, Scope, Send

    from coldtake.web.sharing.addresses import Address

SHARED = "coldtake.shared"  # in the scope: the host names of the shared address
COOKIE = "__Host-coldtake"  # the prefix makes browsers insist on Secure, Path=/ and no Domain

# Without pairing: the page that pairs, what it is drawn with, and the certificate.
OPEN = frozenset(
    {
        "/pair",
        "/pair/certificate.crt",
        "/pair/worker.js",
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
# A paired device reads everything but what shares the machine, and what takes all of it away …
HIDDEN = re.compile(r"/(share|demo|data|long-work(?!/now))(/|$)")
# … and runs a session, answers and plans a day. The pile and the settings stay with the computer.
CHANGES = tuple(
    (method, re.compile(path))
    for method, path in (
        ("POST", r"/api/session/(start|lead)"),
        ("POST", r"/api/events"),
        ("PUT", r"/api/takes/[^/]+"),
        ("POST", r"/takes/[^/]+/(answer|listen|hearing/stop)"),
        ("POST", r"/slow"),
        ("POST", r"/steps/[^/]+/takes"),
        ("POST", r"/tomorrow"),
        ("POST", r"/run-through(/[^/]+(/back|/take)?)?"),
        ("POST", r"/performances/[^/]+/after"),
        ("POST", r"/tomorrow/change"),
    )
)
READING = ("GET", "HEAD")
NOT_PAIRED = ColdtakeError(
    "This device is not paired.", remedy="Open “Connect a tablet” on the computer."
)
STRANGER_MOST = 200  # bytes; a code is nine digits, and nobody unknown sends more
TOO_MUCH = ColdtakeError(
    "A code has nine digits.", remedy="Enter the digits that the computer shows."
)
NOT_HERE = ColdtakeError("This is possible only on the computer.", remedy="Nothing was changed.")


def marked_as_shared(app: ASGIApp, address: Address) -> ASGIApp:
    """Wrap the app for the second server: every request says that it came through there."""
    hosts = frozenset({str(address)})

    async def shared(scope: Scope, receive: Receive, send: Send) -> None:
        await app({**scope, SHARED: hosts}, receive, send)

    return shared


def is_shared(request: Request) -> bool:
    """Say whether a request came through the shared address."""
    return SHARED in request.scope


def may_unpaired(method: str, path: str) -> bool:
    """Say whether a stranger may ask for this."""
    return path in OPEN and (method in READING or (method, path) == ("POST", "/pair"))


def may_paired(method: str, path: str) -> bool:
    """Say whether the paired device may ask for this."""
    if may_unpaired(method, path):
        return True
    if method in READING:
        return HIDDEN.match(path) is None
    return any(method == m and p.fullmatch(path) for m, p in CHANGES)


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
    """ASGI middleware; it lets through what came from loopback."""

    def __init__(self, app: ASGIApp, *, knows: Knows, refuse: Refuse) -> None:
        self.app = app
        self.knows = knows
        self.refuse = refuse

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on what the device may do; refuse the rest."""
        if SHARED not in scope or scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":  # nothing here speaks anything else
            return
        refusal = self._refusal(Request(scope))
        await (refusal or self.app)(scope, receive, send)

    def _refusal(self, request: Request) -> Response | None:
        method, path = request.method, request.url.path
        if may_unpaired(method, path):
            fits = method in READING or is_short(request.headers)
            return None if fits else self.refuse(request, TOO_MUCH, 413)
        if not self.knows(
            secret_of(request.headers)
        ):  # 401, not 403: what a session page still holds is sent again once paired
            answer = self.refuse(request, NOT_PAIRED, 401)
            answer.headers["WWW-Authenticate"] = "Pairing"  # RFC 9110 asks for a scheme
            return answer
        return None if may_paired(method, path) else self.refuse(request, NOT_HERE, 403)
