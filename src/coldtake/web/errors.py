"""The one place where errors become responses: a readable page, a fragment, or JSON.

Status by kind of error as drawn in `coldtake.errors`. A fault of the program itself is logged with
its traceback and shown as one plain sentence, never as a traceback.
"""

import logging

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.errors import (
    AccessError,
    BusyError,
    ColdtakeError,
    InputError,
    NotFoundError,
    StoreError,
)
from coldtake.web.forms.form_fields import came_from
from coldtake.web.security import HEADERS
from coldtake.web.sharing.gate import NOT_PAIRED

log = logging.getLogger(__name__)

STATUS: tuple[tuple[type[ColdtakeError], int], ...] = (
    (InputError, 422),
    (AccessError, 403),
    (NotFoundError, 404),
    (BusyError, 409),
    (StoreError, 503),
)
STRANGER = {"here": "", "paired": False, "fingerprint": "", "kind": "", "fault": NOT_PAIRED}
OWN_FAULT = ColdtakeError(
    "Coldtake could not finish this.",
    remedy="Everything saved before is safe. Reload the page. Details are in the error log.",
)


def status_of(error: ColdtakeError) -> int:
    """Return the HTTP status of an error's kind; 500 for none of them."""
    return next((code for kind, code in STATUS if isinstance(error, kind)), 500)


def wants_json(request: Request) -> bool:
    """Say whether the caller is a script that reads JSON."""
    accepts = request.headers.get("accept", "")
    return request.url.path.startswith("/api/") or accepts.startswith("application/json")


def as_response(
    request: Request, templates: Jinja2Templates, error: ColdtakeError, status: int
) -> Response:
    """Show one error in the form that the caller understands."""
    parts = {"what": error.what, "where": error.where, "remedy": error.remedy}
    if wants_json(request):
        return JSONResponse({"error": parts}, status_code=status)
    if request.headers.get("hx-request"):
        headers = {"HX-Retarget": "#fault", "HX-Reswap": "innerHTML", "HX-Reselect": ".fault"}
        return templates.TemplateResponse(
            request, "fault.html", parts, status_code=status, headers=headers
        )
    parts["back"] = came_from(request)
    return templates.TemplateResponse(request, "error.html", parts, status_code=status)


def refused(
    request: Request, error: ColdtakeError, status: int, *, templates: Jinja2Templates
) -> Response:
    """Refuse before any page was reached; a stranger is shown nothing but how to pair."""
    if status == 401 and not wants_json(request):
        return templates.TemplateResponse(request, "pair.html", dict(STRANGER), status_code=status)
    return as_response(request, templates, error, status)


def _from_http(error: HTTPException) -> ColdtakeError:
    if error.status_code == 404:
        return NotFoundError("This page was not found.", remedy="Go to Topics.")
    if error.status_code == 405:
        return InputError(
            "This address does not accept this request.",
            remedy="Go back and use the buttons of the page.",
        )
    return ColdtakeError(str(error.detail))


def _from_validation(error: RequestValidationError) -> InputError:
    names = sorted({str(e["loc"][-1]) for e in error.errors()})
    return InputError(
        f"Missing or wrong: {', '.join(names)}.",
        remedy="Fill it in and try again.",
    )


def install(app: FastAPI, templates: Jinja2Templates) -> None:
    """Make every error of the application readable."""

    async def ours(request: Request, error: Exception) -> Response:
        assert isinstance(error, ColdtakeError)
        return as_response(request, templates, error, status_of(error))

    async def http(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        return as_response(request, templates, _from_http(error), error.status_code)

    async def validation(request: Request, error: Exception) -> Response:
        assert isinstance(error, RequestValidationError)
        return as_response(request, templates, _from_validation(error), 422)

    async def own_fault(request: Request, error: Exception) -> Response:
        log.error("%s %s", request.method, request.url.path, exc_info=error)
        response = as_response(request, templates, OWN_FAULT, 500)
        response.headers.update(HEADERS)  # this handler runs outside the guard
        return response

    app.add_exception_handler(ColdtakeError, ours)
    app.add_exception_handler(HTTPException, http)
    app.add_exception_handler(RequestValidationError, validation)
    app.add_exception_handler(Exception, own_fault)
