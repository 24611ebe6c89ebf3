"""Sharing with a tablet or phone: the player's page on this machine, and the device's own."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.errors import ColdtakeError, InputError, NotFoundError
from coldtake.practice.access import Action, needs
from coldtake.web.errors import status_of
from coldtake.web.forms import form_fields
from coldtake.web.sharing.gate import COOKIE, is_shared, secret_of
from coldtake.web.sharing.pairing import device_kind, device_name

if TYPE_CHECKING:
    from coldtake.practice.services import Services
    from coldtake.web.sharing.listener import Sharing

COOKIE_S = 400 * 24 * 3600  # what browsers keep at most (RFC 6265bis, section 5.5)
CERTIFICATE = "application/x-x509-ca-cert"


def sharing_of(request: Request) -> Sharing:
    """Return what shares this app. Raises NotFoundError where nothing can."""
    found: Sharing | None = request.app.state.sharing
    if found is None:
        raise NotFoundError("Sharing is not possible.", remedy="Start it with “coldtake serve”.")
    return found


def picture_of(text: str) -> tuple[str, int]:
    """Draw a text as a QR code (ISO/IEC 18004): an SVG path of unit squares, and its size."""
    import segno

    rows = list(segno.make(text, error="m").matrix_iter(border=4))
    squares = [
        f"M{x} {y}h1v1h-1z" for y, row in enumerate(rows) for x, dark in enumerate(row) if dark
    ]
    return "".join(squares), len(rows)


def _own_page(sharing: Sharing) -> dict[str, object]:
    from coldtake.web.sharing import addresses, listener

    pairing = sharing.pairing
    if sharing.on and not pairing.device and not pairing.code and not pairing.guessed_at:
        pairing.new_code()
    code = pairing.code if sharing.on else None
    picture, size = picture_of(f"{sharing.url}/pair#{code.digits}") if code else ("", 0)
    return {
        "here": "/share",
        "sharing": sharing,
        "code": code,
        "until": code.until.astimezone() if code else None,
        "device": pairing.device,
        "wrong": pairing.wrong,
        "picture": picture,
        "size": size,
        "fingerprint": sharing.authority.fingerprint if sharing.on else "",
        "suggested": "" if sharing.on else addresses.usual(),
        "port": listener.PORT,
    }


def router(_services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of both pages."""
    routes = APIRouter()
    _add_own(routes, templates)
    _add_devices(routes, templates)
    return routes


def _add_own(routes: APIRouter, templates: Jinja2Templates) -> None:
    back = "/share"

    @routes.get("/share")
    @needs(Action.SHARE)
    def share(request: Request) -> Response:
        context = _own_page(sharing_of(request))
        return templates.TemplateResponse(request, "share.html", context)

    @routes.post("/share")
    @needs(Action.SHARE)
    def start(
        request: Request,
        address: Annotated[str, Form()] = "",
        port: Annotated[str, Form()] = "",
    ) -> Response:
        from coldtake.web.sharing.listener import PORT

        wanted = form_fields.whole(port, "port", 0, 65535) if port else PORT
        sharing_of(request).start(request.app, address, wanted)
        return RedirectResponse(back, status_code=303)

    @routes.post("/share/stop")
    @needs(Action.SHARE)
    def stop(request: Request) -> Response:
        sharing_of(request).stop()
        return RedirectResponse(back, status_code=303)

    @routes.post("/share/code")
    @needs(Action.SHARE)
    def code(request: Request) -> Response:
        sharing = sharing_of(request)
        if not sharing.on:
            raise InputError("Sharing is off.", remedy="Start sharing first.")
        sharing.pairing.new_code()
        return RedirectResponse(back, status_code=303)

    @routes.post("/share/forget")
    @needs(Action.SHARE)
    def forget(request: Request) -> Response:
        sharing_of(request).pairing.forget()
        return RedirectResponse(back, status_code=303)


def _add_devices(routes: APIRouter, templates: Jinja2Templates) -> None:
    def shown(request: Request, fault: ColdtakeError | None = None) -> Response:
        sharing = sharing_of(request)
        context = {
            "here": "",
            "paired": sharing.pairing.knows(secret_of(request.headers)),
            "fingerprint": sharing.authority.fingerprint,
            "kind": device_kind(request.headers.get("user-agent", "")),
            "fault": fault,
        }
        status = status_of(fault) if fault else 200
        return templates.TemplateResponse(request, "pair.html", context, status_code=status)

    @routes.get("/pair")
    @needs(Action.PAIR)
    def pair_page(request: Request) -> Response:
        return shown(request) if is_shared(request) else RedirectResponse("/share", 303)

    @routes.post("/pair")
    @needs(Action.PAIR)
    def pair(request: Request, code: Annotated[str, Form()] = "") -> Response:
        if not is_shared(request):
            raise NotFoundError(
                "This page is for the tablet.", remedy="Open the pairing page on the tablet."
            )
        name = device_name(request.headers.get("user-agent", ""))
        try:
            secret = sharing_of(request).pairing.pair(code, name)
        except ColdtakeError as fault:
            return shown(request, fault)
        answer = RedirectResponse("/pair", status_code=303)
        answer.set_cookie(
            COOKIE, secret, max_age=COOKIE_S, secure=True, httponly=True, samesite="strict"
        )
        return answer

    @routes.get("/pair/worker.js")
    @needs(Action.PAIR)
    def trial() -> Response:
        words = "// It does nothing: that it starts shows that the certificate is trusted.\n"
        return Response(words, media_type="text/javascript")

    @routes.get("/pair/certificate.crt")
    @needs(Action.PAIR)
    def certificate(request: Request) -> Response:
        headers = {"Content-Disposition": 'attachment; filename="coldtake.crt"'}
        return Response(sharing_of(request).authority.der, media_type=CERTIFICATE, headers=headers)
