"""What every request must pass and every response carries; nothing here knows a page.

- Host: only names of this machine (and those given on purpose), against DNS rebinding.
- Origin, Sec-Fetch-Site and Referer: another site's page, or one on another port of this machine,
  cannot change anything here, nor use anything of it as an image, a script, a frame or by fetch; it
  can only lead to a page (W3C, "Fetch Metadata Request Headers", 2021, for what browsers tell).
- Size: a request body is counted while it arrives; the limit is `MAX_BODY`.
- Headers: a policy of `default-src 'self'` without inline script or style, no sniffing, no framing.
"""

from collections.abc import Collection
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from coldtake.web.sharing.gate import SHARED

MAX_BODY = 160 * 1024 * 1024  # bytes; ten minutes of raw 48 kHz float samples are 115 MB
LOOPBACK = frozenset({"localhost", "127.0.0.1", "::1"})
OURS = ("same-origin", "none")  # of Sec-Fetch-Site: our page, or the person's own hand
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
POLICY = (
    "default-src 'self'; img-src 'self' data:; media-src 'self' blob:; worker-src 'self'; "
    "object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Cache-Control": "no-cache",  # kept, but asked about: an upgrade must not meet old scripts
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(self), midi=(self)",
}
TOO_LARGE = (
    f"The file is larger than {MAX_BODY >> 20} MB. Nothing was saved. Choose a smaller file."
)


def host_name(host: str) -> str:
    """Return the name in a Host header, without port and brackets, in lower case."""
    return (urlsplit(f"//{host}").hostname or "").rstrip(".")


def host_allowed(host: str, extra: Collection[str] = ()) -> bool:
    """Say whether a Host header names this machine, or a name that was allowed on purpose."""
    try:
        name = host_name(host)
    except ValueError:
        return False
    return name in LOOPBACK or name.endswith(".localhost") or name in extra


def origin_allowed(method: str, headers: Headers) -> bool:
    """Say whether a request may come from where it says that it comes from.

    Our own page may do all; a page elsewhere may only lead here; what is no page (a program, a
    bookmark) sends none of these headers.
    """
    site = headers.get("sec-fetch-site")
    if method in SAFE_METHODS:
        return site in (*OURS, None) or _leads_here(headers)
    if site not in (*OURS, None):
        return False
    came_from = headers.get("origin") or headers.get("referer")
    return came_from is None or _netloc(came_from) == headers.get("host", "")


def _leads_here(headers: Headers) -> bool:
    navigates = headers.get("sec-fetch-mode") == "navigate"
    return navigates and headers.get("sec-fetch-dest", "document") == "document"


def _netloc(address: str) -> str | None:
    try:
        return urlsplit(address).netloc
    except ValueError:
        return None


def _names_us(scope: Scope, host: str, hosts: Collection[str]) -> bool:
    """Say whether a Host header names the server that the request came through."""
    if SHARED not in scope:
        return host_allowed(host, hosts)
    return host_allowed(host, scope[SHARED]) and not host_allowed(host)


def _refusal(scope: Scope, hosts: Collection[str]) -> PlainTextResponse | None:
    headers = Headers(scope=scope)
    if not _names_us(scope, headers.get("host", ""), hosts):
        words = "Coldtake does not use this address. Open the address that it showed at the start."
        return PlainTextResponse(words, status_code=421)
    if not origin_allowed(scope["method"], headers):
        words = (
            "This request came from another website. Nothing was changed. Use Coldtake's own pages."
        )
        return PlainTextResponse(words, status_code=403)
    if _promised(headers) > MAX_BODY:
        return PlainTextResponse(TOO_LARGE, status_code=413)
    return None


def _promised(headers: Headers) -> int:
    text = headers.get("content-length", "0")
    return int(text) if text.isascii() and text.isdigit() else 0


def _counted(receive: Receive) -> Receive:
    seen = 0

    async def counting() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > MAX_BODY:
            raise HTTPException(413, TOO_LARGE)
        return message

    return counting


class Guard:
    """ASGI middleware that applies all of the above."""

    def __init__(self, app: ASGIApp, *, hosts: Collection[str] = ()) -> None:
        self.app = app
        self.hosts = frozenset(h.lower() for h in hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, or pass the request on and seal the response."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":  # there is no other door here
            await send({"type": "websocket.close", "code": 1008})
            return

        async def sealed(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        refusal = _refusal(scope, self.hosts)
        if refusal is not None:
            await refusal(scope, receive, sealed)
            return
        await self.app(scope, _counted(receive), sealed)
