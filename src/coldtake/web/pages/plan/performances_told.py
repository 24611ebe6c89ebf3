"""Run-throughs and the minute after a performance: one chance, then one answer for each piece."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.domain.performance import Run, RunPart
from coldtake.domain.take import Answer, NewTake, Take
from coldtake.errors import InputError
from coldtake.practice.access import Action, needs
from coldtake.web.forms import form_fields
from coldtake.web.forms.form_fields import Fields, text_fields

if TYPE_CHECKING:
    from coldtake.domain.history.state import State
    from coldtake.domain.topic import Step
    from coldtake.practice.services import Services


@dataclass(frozen=True, slots=True)
class RunForm:
    """One piece of a run: what was answered, if it was, and the steps where it can break."""

    topic_id: str
    title: str
    part: RunPart | None
    steps: tuple[Step, ...]
    broke: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RunView:
    """A run with its pieces in order, and what it was for."""

    run: Run
    pieces: tuple[RunForm, ...]
    performance: str

    @property
    def came_out(self) -> int:
        """How many pieces came out."""
        return sum(p.part is not None and p.part.answer is Answer.YES for p in self.pieces)


def view_of(state: State, run: Run) -> RunView:
    """Read a run."""
    performance = state.performances.get(run.performance_id or "")
    answers = {part.topic_id: part for part in run.parts}
    pieces = tuple(told_of(state, t, answers.get(t)) for t in run.topic_ids)
    return RunView(run, pieces, performance.title if performance else "")


def told_of(state: State, topic_id: str, part: RunPart | None) -> RunForm:
    """Read one piece of a run."""
    topic = state.topics.get(topic_id)
    steps = state.topic_steps(topic_id)
    gone = "a deleted step"
    titles = {s.id: s.title for s in steps}
    broke = tuple(titles.get(i, gone) for i in part.broke) if part else ()
    return RunForm(topic_id, topic.title if topic else "a deleted topic", part, steps, broke)


def read_parts(fields: FormData, topic_ids: tuple[str, ...], state: State) -> list[RunPart]:
    """Read one answer for each piece; places count only where the answer is no."""
    form, parts = text_fields(fields), []
    for number, topic_id in enumerate(topic_ids):
        said = form.get(f"answer-{number}", "")
        if not said:
            topic = state.topics.get(topic_id)
            raise InputError(
                "This piece has no answer yet.",
                where=topic.title if topic else "a piece",
                remedy="Choose yes, no or cannot tell.",
            )
        answer = form_fields.one_of(Answer, said, "answer")
        ticked = [i for i in fields.getlist(f"broke-{number}") if isinstance(i, str)]
        parts.append(
            RunPart(
                topic_id=topic_id,
                answer=answer,
                broke=tuple(ticked) if answer is Answer.NO else (),
                words=" ".join(form.get(f"words-{number}", "").split())[:500],
            )
        )
    return parts


def _minutes(form: dict[str, str]) -> float:
    return form_fields.maybe_number(form.get("minutes", ""), "minutes", 0, 360, "min") or 0.0


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of run-throughs and of the minute after."""
    routes = APIRouter()

    @routes.get("/run-through")
    @needs(Action.SEE)
    def before(request: Request, performance: str = "", topic: str = "") -> Response:
        state = services.state()
        chosen = services.performances.get(performance) if performance else None
        if topic:
            services.pile.topic(topic)
        ids = (topic,) if topic else chosen.programme if chosen else ()
        context = {
            "here": "",
            "performance": chosen,
            "topic_id": topic,
            "pieces": [told_of(state, t, None) for t in ids],
            "choices": services.performances.upcoming(),
            "topics": [t for t in state.topics.values() if state.topic_steps(t.id)],
        }
        return templates.TemplateResponse(request, "run_before.html", context)

    @routes.post("/run-through")
    @needs(Action.PLAY)
    def begin(fields: Fields) -> Response:
        form = text_fields(fields)
        of, topic = form.get("performance", ""), form.get("topic", "")
        ids = (topic,) if topic else services.performances.get(of).programme if of else ()
        run = services.performances.begin(
            ids, performance_id=of or None, intention=form.get("intention", "")
        )
        return RedirectResponse(f"/run-through/{run.id}", status_code=303)

    @routes.get("/run-through/{run_id}")
    @needs(Action.SEE)
    def show(request: Request, run_id: str) -> Response:
        run = services.performances.run(run_id)
        page = "run_told.html" if run.told else "run_now.html"
        context = {
            "here": "",
            "view": view_of(services.state(), run),
            "takes": _takes(services, run),
        }
        return templates.TemplateResponse(request, page, context)

    @routes.get("/run-through/{run_id}/end")
    @needs(Action.SEE)
    def answers(request: Request, run_id: str) -> Response:
        run = services.performances.run(run_id)
        passed = (services.now() - run.at).total_seconds() / 60.0
        context = {
            "here": "",
            "view": view_of(services.state(), run),
            "minutes": round(run.minutes or min(max(passed, 0.0), 360.0), 1),
            "performance": None,
        }
        return templates.TemplateResponse(request, "run_answers.html", context)

    @routes.post("/run-through/{run_id}")
    @needs(Action.PLAY)
    def tell(run_id: str, fields: Fields) -> Response:
        run, form = services.performances.run(run_id), text_fields(fields)
        parts = read_parts(fields, run.topic_ids, services.state())
        services.performances.tell(
            run_id, parts, played_s=60.0 * _minutes(form), words=form.get("words", "")
        )
        return RedirectResponse(f"/run-through/{run_id}", status_code=303)

    @routes.post("/run-through/{run_id}/back")
    @needs(Action.PLAY)
    def take_back(run_id: str) -> Response:
        run = services.performances.run(run_id)
        services.performances.take_back_run(run_id)
        there = f"/performances/{run.performance_id}" if run.performance_id else "/performances"
        return RedirectResponse(there, status_code=303)

    @routes.post("/run-through/{run_id}/take")
    @needs(Action.PLAY)
    def take(run_id: str, fields: Fields) -> Response:
        run, (sound, filename) = services.performances.run(run_id), form_fields.recording(fields)
        new = NewTake(step_id=run.id, source="upload", day=run.day)
        services.takes.keep(sound, new, filename)
        return RedirectResponse(f"/run-through/{run_id}", status_code=303)

    _after(routes, services, templates)
    return routes


def _after(routes: APIRouter, services: Services, templates: Jinja2Templates) -> None:
    """Add the minute after a performance."""

    @routes.get("/performances/{performance_id}/after")
    @needs(Action.SEE)
    def after(request: Request, performance_id: str) -> Response:
        performance, state = services.performances.get(performance_id), services.state()
        known = services.performances.stage_run(performance_id)
        answers = {p.topic_id: p for p in known.parts} if known else {}
        pieces = tuple(told_of(state, t, answers.get(t)) for t in performance.programme)
        context = {
            "here": "",
            "performance": performance,
            "known": known,
            "pieces": pieces,
            "today": services.today(),
        }
        return templates.TemplateResponse(request, "performance_after.html", context)

    @routes.post("/performances/{performance_id}/after")
    @needs(Action.PLAY)
    def tell_stage(performance_id: str, fields: Fields) -> Response:
        performance = services.performances.get(performance_id)
        parts = read_parts(fields, performance.programme, services.state())
        services.performances.tell_stage(
            performance_id, parts, words=text_fields(fields).get("words", "")
        )
        return RedirectResponse(f"/performances/{performance_id}", status_code=303)


def _takes(services: Services, run: Run) -> tuple[Take, ...]:
    return services.state().past(run.id).takes
