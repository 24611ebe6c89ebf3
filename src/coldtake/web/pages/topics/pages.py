"""Pages of a topic: adding files, and marking a stretch of them for a step."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from starlette.datastructures import FormData, UploadFile
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.domain.criterion import default_criterion
from coldtake.domain.criterion_words import BEAT_UNITS
from coldtake.domain.topic import ClickSetting, Exercise, Step
from coldtake.errors import InputError
from coldtake.practice.access import Action, needs
from coldtake.practice.topics.pages import Mark, TopicPage
from coldtake.web.forms import form_fields
from coldtake.web.forms.form_fields import Fields, text_fields
from coldtake.web.views.notation import WIDTH_PX
from coldtake.web.views.page_picture import picture_of

if TYPE_CHECKING:
    from coldtake.ports import Progress
    from coldtake.practice.services import Services

SHORT_PAGES = 3  # measured while the player waits; more are measured in the background
_MOST = 100.0  # per cent


def _files(fields: FormData) -> list[tuple[str, bytes]]:
    """Return what was chosen. Raises InputError without any."""
    chosen = [v for v in fields.getlist("pages") if isinstance(v, UploadFile) and v.filename]
    if not chosen:
        raise InputError("No page was chosen.", where="pages", remedy="Choose a PDF or photos.")
    return [(v.filename or "page", v.file.read()) for v in chosen]


def _mark(form: dict[str, str], end: str, pages: tuple[TopicPage, ...]) -> Mark:
    """Read one end of a stretch: a page of the topic and how far down it is, in per cent."""
    number = form_fields.whole(form.get(f"{end}_page", ""), f"{end} page", 1, max(len(pages), 1))
    down = form_fields.number(form.get(f"{end}_at", ""), f"{end} mark", 0, _MOST, "%") / _MOST
    view = pages[number - 1].view if pages else None
    return Mark(number, view.top + down * (view.bottom - view.top) if view else down)


def _exercise(form: dict[str, str]) -> Exercise:
    unit = form_fields.number(form.get("beat_unit", "1"), "beat unit", 0.125, 8)
    mark = form_fields.maybe_number(form.get("tempo", ""), "tempo", 10, 400)
    beats = form_fields.whole(form.get("beats_per_bar") or "4", "beats in a bar", 1, 32)
    click = ClickSetting(beat_unit_beats=unit, beats_per_bar=beats)
    return Exercise(tempo_bpm=None if mark is None else mark * unit, click=click)


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of pages."""
    routes = APIRouter()

    @routes.get("/topics/{topic_id}/pages")
    @needs(Action.SEE)
    def show(request: Request, topic_id: str) -> Response:
        context = {
            "here": "",
            "topic": services.pile.topic(topic_id),
            "pages": services.pages.of_topic(topic_id),
            "units": tuple(BEAT_UNITS.items()),
        }
        return templates.TemplateResponse(request, "pages.html", context)

    @routes.post("/topics/{topic_id}/pages")
    @needs(Action.CHANGE_TOPICS)
    def keep(topic_id: str, fields: Fields) -> Response:
        files, back = _files(fields), f"/topics/{topic_id}/pages"
        services.pile.topic(topic_id)
        if services.pages.count(files) <= SHORT_PAGES:
            services.pages.keep(topic_id, files)
        else:

            def work(progress: Progress) -> str:
                kept = services.pages.keep(topic_id, files, progress)
                return f"{sum(file.pages for file in kept)} pages added."

            services.jobs.start("pages", "Adding pages", work, page=back)
        return RedirectResponse(back, status_code=303)

    @routes.post("/topics/{topic_id}/pages/step")
    @needs(Action.CHANGE_TOPICS)
    def add_step(topic_id: str, fields: Fields) -> Response:
        form, pages = text_fields(fields), services.pages.of_topic(topic_id)
        title = form_fields.line(
            form.get("title", ""), "step", "Enter what you want to play clean."
        )
        step = Step(
            id=services.new_id(),
            topic_id=topic_id,
            title=title,
            criterion=default_criterion(),
            exercise=_exercise(form),
        )
        first, last = (_mark(form, end, pages) for end in ("first", "last"))
        services.pages.keep_step(step, first, last)
        return RedirectResponse(f"/steps/{step.id}", status_code=303)

    @routes.get("/passages/of-step/{step_id}.svg")
    @needs(Action.SEE)
    def picture(step_id: str, width: str = "900") -> Response:
        step = services.pile.step(step_id)
        wide = form_fields.whole(width, "width", *WIDTH_PX)
        svg = picture_of(services, step.exercise.marked, wide, f"Page: {step.title}")
        return Response(svg, media_type="image/svg+xml", headers={"Cache-Control": "no-cache"})

    return routes
