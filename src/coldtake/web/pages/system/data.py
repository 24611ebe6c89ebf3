"""Your data: copies, the last look through it, repairs, and an archive brought back."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from starlette.datastructures import UploadFile
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.errors import InputError, NotFoundError
from coldtake.practice.access import Action, needs
from coldtake.practice.archive import Archive, Restored, contents
from coldtake.web.forms import form_fields
from coldtake.web.forms.form_fields import Fields, text_fields

if TYPE_CHECKING:
    from coldtake.ports import Progress
    from coldtake.practice.archive import Source
    from coldtake.practice.services import Services

    OpenSource = Callable[[Path], AbstractContextManager[Source]]

REPAIRS_SHOWN = 20
RESTORING = "Restoring data"


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of the player's data."""
    routes = APIRouter(prefix="/data")

    @routes.get("")
    @needs(Action.MANAGE_DATA)
    def show(request: Request) -> Response:
        care, job = services.care, services.jobs.now()
        context = {
            "here": "/data",
            "copies": care.copies() if care else (),
            "copies_to": care.copies_to() if care else None,
            "last": care.last() if care else None,
            "page_files": services.state().page_files,
            "repairs": tuple(reversed(care.repairs()))[:REPAIRS_SHOWN] if care else (),
            "busy": job is not None and job.running,
            "misdated": services.misdated.groups(),
            "unread": tuple(reversed(services.refused())),
            "unread_file": contents.REFUSED,
            "not_valid": services.settings.not_valid(),
            "minute": timedelta(minutes=1),
        }
        return templates.TemplateResponse(request, "data.html", context)

    @routes.post("/misdated")
    @needs(Action.MANAGE_DATA)
    def give_day(fields: Fields) -> Response:
        form = text_fields(fields)
        day = form_fields.past_day(form.get("day", ""), "Day played")
        services.misdated.give_day(form.get("group", ""), day)
        return RedirectResponse("/data", status_code=303)

    @routes.post("/misdated/delete")
    @needs(Action.MANAGE_DATA)
    def delete(fields: Fields) -> Response:
        services.misdated.delete(text_fields(fields).get("group", ""))
        return RedirectResponse("/data", status_code=303)

    @routes.post("/copy")
    @needs(Action.MANAGE_DATA)
    def copy() -> Response:
        if services.care is None or services.care.copies_to() is None:
            raise NotFoundError(
                "The database server makes its own backups.",
                remedy="Use that server's backups.",
            )
        services.care.copy()
        return RedirectResponse("/data", status_code=303)

    @routes.post("/restore")
    @needs(Action.MANAGE_DATA)
    def bring_back(request: Request, fields: Fields) -> Response:
        sent = fields.get("archive")
        if not isinstance(sent, UploadFile) or not sent.filename:
            raise InputError("No file was chosen.", remedy="Choose an export or a backup first.")
        opened: OpenSource = getattr(request.app.state, "open_source", None) or Archive
        begin(services, opened, sent, merge=bool(fields.get("merge")))
        return RedirectResponse("/data", status_code=303)

    return routes


def begin(services: Services, opened: OpenSource, sent: UploadFile, *, merge: bool) -> None:
    """Keep what was sent in a file of its own, and bring it back in the background."""
    folder = tempfile.TemporaryDirectory(prefix="coldtake-restore-")
    path = Path(folder.name) / "sent.zip"

    def work(progress: Progress) -> str:
        with folder, opened(path) as source:
            return words_of(services.archiving.restore(source, merge=merge, progress=progress))

    try:
        with path.open("wb") as file:
            shutil.copyfileobj(sent.file, file)
        services.jobs.start("restore", RESTORING, work, page="/data")
    except BaseException:
        folder.cleanup()
        raise


def words_of(brought: Restored) -> str:
    """Say what came of it."""
    told = f"Restored: {brought.events} log entries and {brought.takes} takes."
    if brought.known:
        told += f" {brought.known} log entries were already here."
    lost = len(brought.missing_takes) + len(brought.damaged_takes)
    told += f" {lost} files of takes or pages were missing." if lost else ""
    if brought.misdated:
        told += f" {brought.misdated} entries have a wrong date. Enter their day below."
    if brought.not_valid:
        told += f" Settings that are not valid: {', '.join(brought.not_valid)}. Defaults are used."
    return told
