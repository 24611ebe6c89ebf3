"""Long work: what can be begun, how far it is, and the button that stops it."""

from __future__ import annotations

import shutil
import tempfile
import weakref
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from starlette.responses import FileResponse, RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.errors import NotFoundError
from coldtake.practice.access import Action, needs
from coldtake.web.forms import form_fields

CHECKING = "Checking data"

if TYPE_CHECKING:
    from coldtake.ports import Maintenance, Progress
    from coldtake.practice.services import Services


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of long work."""
    routes = APIRouter(prefix="/long-work")
    archives = _Archives()

    @routes.get("")
    @needs(Action.RUN_TASKS)
    def show(request: Request) -> Response:
        job = services.jobs.now()
        context = {
            "here": "/long-work",
            "outdated": len(services.takes.outdated()),
            "waiting": len(services.takes.waiting()),
            "can_check": services.care is not None,
            "archive": archives.told,
            "busy": job is not None and job.running,
        }
        return templates.TemplateResponse(request, "work.html", context)

    def strip(request: Request, headers: dict[str, str] | None = None) -> Response:
        context = {"job": services.jobs.now()}
        return templates.TemplateResponse(request, "work_strip.html", context, headers=headers)

    def after(request: Request) -> Response:
        if request.headers.get("hx-request"):
            return strip(request)
        came = form_fields.came_from(request).partition("?")[0]
        return RedirectResponse(form_fields.own_path(came), status_code=303)

    @routes.get("/now")
    @needs(Action.SEE)
    def now(request: Request) -> Response:
        job = services.jobs.now()
        if job is None or not job.running:  # the whole strip says what came of it
            return strip(request, {"HX-Retarget": "#work", "HX-Reswap": "outerHTML"})
        return templates.TemplateResponse(request, "work_now.html", {"job": job})

    @routes.post("/stop")
    @needs(Action.RUN_TASKS)
    def stop(request: Request) -> Response:
        services.jobs.stop()
        return after(request)

    @routes.post("/seen")
    @needs(Action.RUN_TASKS)
    def seen(request: Request) -> Response:
        services.jobs.seen()
        return after(request)

    _beginnings(routes, services)
    _archiving(routes, services, archives)
    return routes


class _Archives:
    """The archive that was made last, in a folder of its own that goes with the program."""

    def __init__(self) -> None:
        self._folder: Path | None = None
        self.path: Path | None = None

    def fresh(self, day: date) -> Path:
        """Return where the next one is written; the last one is gone then."""
        self.path = None
        if self._folder is None:
            self._folder = Path(tempfile.mkdtemp(prefix="coldtake-"))
            weakref.finalize(self, shutil.rmtree, self._folder, ignore_errors=True)
        return self._folder / f"coldtake-{day.isoformat()}.zip"

    @property
    def told(self) -> str:
        """Its name and size, nothing when there is none."""
        if self.path is None or not self.path.exists():
            return ""
        return f"{self.path.name}, {self.path.stat().st_size / 1e6:.1f} MB"


def _archiving(routes: APIRouter, services: Services, archives: _Archives) -> None:
    """Add the routes of the archive: made in the background, then taken."""

    @routes.post("/archive")
    @needs(Action.EXPORT)
    def archive() -> Response:
        services.jobs.start("archive", "Creating an export", work, page="/long-work")
        return RedirectResponse("/long-work", status_code=303)

    def work(progress: Progress) -> str:
        path = archives.fresh(services.today())
        made = services.archiving.export(path, progress=progress)
        archives.path = path
        takes = f"{made.takes} take{'s' * (made.takes != 1)}"
        return f"The export has {made.events} log entries and {takes}."

    @routes.get("/archive.zip")
    @needs(Action.EXPORT)
    def taken() -> Response:
        if not archives.told or archives.path is None:
            raise NotFoundError("There is no export yet.", remedy="Create an export first.")
        return FileResponse(
            archives.path, media_type="application/zip", filename=archives.path.name
        )


def _beginnings(routes: APIRouter, services: Services) -> None:
    """Add the routes that begin something."""

    @routes.post("/rejudge")
    @needs(Action.RUN_TASKS)
    def rejudge() -> Response:
        services.rejudging.begin()
        return RedirectResponse("/long-work", status_code=303)

    @routes.post("/check")
    @needs(Action.MANAGE_DATA)
    def check() -> Response:
        care = services.care
        if care is None:
            raise NotFoundError("Checking is not possible here.")
        services.jobs.start("check", CHECKING, lambda progress: _checked(care, progress))
        return RedirectResponse("/long-work", status_code=303)


def _checked(care: Maintenance, progress: Progress) -> str:
    found = care.check(progress)
    looked = f"{found.events} log entries and {found.heard_of} takes checked"
    if found.sound:
        return f"{looked}. No problems found."
    lines = [f"{looked}."]
    for ids, words in (
        (found.damaged, "damaged"),
        (found.missing, "missing"),
        (found.brought_back, "restored from a backup"),
    ):
        lines += [f"{len(ids)} of the takes {words}."] if ids else []
    return " ".join((*lines, *found.remarks))
