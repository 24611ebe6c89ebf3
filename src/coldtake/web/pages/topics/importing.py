"""Import: many files at once, what came of them, one part of a score, another grid for MIDI."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.datastructures import FormData, QueryParams, UploadFile
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.errors import InputError
from coldtake.music.midi.choice import FINEST, ImportChoice
from coldtake.music.midi.reader import is_midi
from coldtake.practice.access import Action, needs
from coldtake.practice.topics.importing import Incoming
from coldtake.web.forms import form_fields
from coldtake.web.forms.form_fields import Fields, text_fields
from coldtake.web.forms.proposal_form import Choices
from coldtake.web.views.notation import WIDTH_PX

if TYPE_CHECKING:
    from coldtake.ports import Progress
    from coldtake.practice.services import Services

SHORT_BYTES, SHORT_FILES = 400_000, 12  # more is done in the background, with progress
MIDI_DENSER = 4
PRINT_DENSER = 8  # a page takes seconds to read; two or three are read while one waits
SHOWN_MOST = 200  # of what came


def _incoming(fields: FormData) -> list[Incoming]:
    """What was chosen or pasted; each file is read once. Raises InputError without any."""
    chosen = [v for name in ("files", "folder") for v in fields.getlist(name)]
    files = [v for v in chosen if isinstance(v, UploadFile) and v.filename]
    found = [_held(v.filename or "", v.file.read()) for v in files if not _hidden(v.filename or "")]
    pasted = text_fields(fields).get("abc", "").strip()
    if pasted:
        found.append(_held("pasted.abc", pasted.encode()))
    if not found:
        raise InputError(
            "There is no notation yet.", where="files", remedy="Choose files, or paste ABC."
        )
    return found


def _hidden(name: str) -> bool:
    """Files that a folder holds for its own sake."""
    return name.rpartition("/")[2].startswith(".")


def _held(name: str, data: bytes) -> Incoming:
    return Incoming(name, lambda: data)


def _weight(data: bytes) -> int:
    """Size in bytes as if of text: MIDI says a note in eight bytes, a PDF a page in some 30 kB."""
    denser = PRINT_DENSER if data.startswith(b"%PDF") else MIDI_DENSER if is_midi(data) else 1
    return len(data) * denser


def _choice(params: QueryParams | dict[str, str]) -> ImportChoice:
    """What the form of the grid says. Raises InputError naming the field."""
    metre = params.get("metre", "")
    known = {f"{a}/{b}": (a, b) for a, b in ((2, 4), (3, 4), (4, 4), (6, 8), (9, 8), (12, 8))}
    finest = params.get("finest") or "sixteenths"
    return ImportChoice(
        part=form_fields.maybe_whole(params.get("part", ""), "part", 1, 1000),
        finest=finest if finest in FINEST else "sixteenths",
        threes=params.get("threes", "yes") == "yes",
        key=params.get("key", "").strip()[:20],
        metre=known.get(metre),
        bpm=form_fields.maybe_number(params.get("bpm", ""), "quarters a minute", 20, 400),
        pick_up=form_fields.maybe_number(params.get("pick_up", ""), "pick-up", 0, 16) or 0.0,
    )


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of import."""
    routes = APIRouter(prefix="/import")

    @routes.get("")
    @needs(Action.SEE)
    def show(request: Request) -> Response:
        context = {"here": "/import", "last": services.importing.last(), "most": SHOWN_MOST}
        return templates.TemplateResponse(request, "import.html", context)

    @routes.post("")
    @needs(Action.CHANGE_TOPICS)
    def keep(fields: Fields) -> Response:
        files = _incoming(fields)
        size = sum(_weight(file.read()) for file in files)
        if size <= SHORT_BYTES and len(files) <= SHORT_FILES:
            services.importing.keep(files)
        else:

            def work(progress: Progress) -> str:
                return services.importing.keep(files, progress).words()

            services.jobs.start("import", "Reading notation", work, page="/import#came")
        return RedirectResponse("/import#came", status_code=303)

    @routes.post("/{passage_id}/part")
    @needs(Action.CHANGE_TOPICS)
    def part(passage_id: str, fields: Fields) -> Response:
        number = form_fields.whole(text_fields(fields).get("part", ""), "part", 1, 1000)
        stored = services.importing.part(passage_id, number)
        return RedirectResponse(f"/passages/{stored.id}", status_code=303)

    @routes.get("/{passage_id}/grid")
    @needs(Action.SEE)
    def grid(request: Request, passage_id: str) -> Response:
        context = _grid(services, passage_id, request.query_params)
        status = 422 if context["fault"] else 200
        return templates.TemplateResponse(request, "grid.html", context, status_code=status)

    @routes.get("/{passage_id}/grid.svg")
    @needs(Action.SEE)
    def grid_notation(request: Request, passage_id: str, width: str = "900") -> Response:
        from coldtake.music.notation.engraving.engraver import engrave
        from coldtake.music.notation.worker_client import passage_of

        abc, _ = services.importing.written_otherwise(passage_id, _choice(request.query_params))
        svg = engrave(passage_of(abc, "abc"), width_px=form_fields.whole(width, "width", *WIDTH_PX))
        return Response(svg, media_type="image/svg+xml", headers={"Cache-Control": "no-cache"})

    @routes.post("/{passage_id}/grid")
    @needs(Action.CHANGE_TOPICS)
    def keep_grid(passage_id: str, fields: Fields) -> Response:
        stored = services.importing.keep_otherwise(passage_id, _choice(text_fields(fields)))
        return RedirectResponse(f"/passages/{stored.id}", status_code=303)

    return routes


def _grid(services: Services, passage_id: str, params: QueryParams) -> dict[str, Any]:
    """What the page of a MIDI file's grid shows; a choice that cannot be is said there."""
    parts = services.importing.midi_parts(passage_id)
    query = {name: text for name, text in params.items() if text}
    if len(parts) > 1:
        query.setdefault("part", "1")
    context: dict[str, Any] = {
        "here": "/import",
        "passage": services.state().passages[passage_id],
        "query": query,
        "finest": tuple(FINEST),
        "metres": Choices().metres,
        "parts": parts if len(parts) > 1 else (),
        "said": (),
        "fault": None,
        "address": f"/import/{passage_id}/grid.svg?{urlencode(query)}",
    }
    try:
        _, context["said"] = services.importing.written_otherwise(passage_id, _choice(query))
    except InputError as fault:
        context["fault"] = fault
    return context
