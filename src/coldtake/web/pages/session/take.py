"""One take: the answer, the figures, every note marked, and the sound from any note."""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING, Annotated
from xml.sax.saxutils import quoteattr

from fastapi import APIRouter, Form, Request
from starlette.responses import FileResponse, RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.domain.criterion_words import question, words_of
from coldtake.domain.take import Answer, FirstTry, Judge, Take
from coldtake.errors import ColdtakeError, JudgingError, NotFoundError, PassageError
from coldtake.learning.pass_evidence import answers_of
from coldtake.practice.access import Action, needs
from coldtake.web.api import judged, reply
from coldtake.web.errors import wants_json
from coldtake.web.forms import form_fields
from coldtake.web.views import compared, evidence
from coldtake.web.views.notation import WIDTH_PX
from coldtake.web.views.pass_messages import chosen_test, cold_said

if TYPE_CHECKING:
    from coldtake.domain.history.state import State
    from coldtake.domain.topic import Step
    from coldtake.music.passage import Passage
    from coldtake.ports import Progress
    from coldtake.practice.jobs import Job
    from coldtake.practice.services import Services
    from coldtake.web.views.waveform import Waveform

# A take that is deleted shall not stay in a browser's cache.
NOT_STORED = {"Cache-Control": "no-store"}
LONG_S = 60.0  # a take of a minute is heard in a second or so; nobody waits for a longer one
STAND_SCALE = 40  # of the engraving, as a passage without marks has on the stand
WIDE_PX, NARROW_PX = 1000, 400  # two settings of the same notation; the style sheet shows one


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of a take."""
    routes = APIRouter()
    _add_notation(routes, services)

    @routes.get("/takes/{take_id}")
    @needs(Action.SEE)
    def show(request: Request, take_id: str) -> Response:
        take = services.takes.get(take_id)
        context = _context(services, take)
        return templates.TemplateResponse(request, "take.html", context, headers=NOT_STORED)

    @routes.get("/takes/{take_id}/sound")
    @needs(Action.HEAR)
    def sound(take_id: str) -> Response:
        sound = services.takes.sound(take_id)
        return FileResponse(sound, media_type="audio/flac", headers=NOT_STORED)

    @routes.post("/takes/{take_id}/answer")
    @needs(Action.ANSWER)
    def answer(
        take_id: str, answer: Annotated[str, Form()] = "", cold: Annotated[str, Form()] = ""
    ) -> Response:
        _keep_said(services, services.takes.get(take_id), answer, cold)
        return RedirectResponse(f"/takes/{take_id}", status_code=303)

    @routes.post("/takes/{take_id}/listen")
    @needs(Action.JUDGE)
    def listen(request: Request, take_id: str) -> Response:
        take = services.takes.get(take_id)
        if wants_json(request):
            return reply(judged(services, take, services.takes.rejudge))
        listen_to(services, take)
        return RedirectResponse(f"/takes/{take_id}", status_code=303)

    @routes.get("/takes/{take_id}/hearing")
    @needs(Action.SEE)
    def hearing(request: Request, take_id: str) -> Response:
        take = services.takes.get(take_id)
        job = services.judging.now(take.id)
        if job is None or not job.running:
            return Response(headers={"HX-Refresh": "true"})
        context = {"take": take, "hearing": job}
        return templates.TemplateResponse(request, "hearing.html", context)

    @routes.post("/takes/{take_id}/hearing/stop")
    @needs(Action.JUDGE)
    def stop(take_id: str) -> Response:
        take = services.takes.get(take_id)
        if services.judging.now(take.id):
            services.judging.stop()
        return RedirectResponse(f"/takes/{take.id}", status_code=303)

    return routes


def _keep_said(services: Services, take: Take, answer: str, cold: str) -> None:
    """Keep what the player says of a take: of the day's first try, and yes or no."""
    if cold:
        services.takes.say_first_try(
            take.id, form_fields.one_of(FirstTry, cold, "first try of the day")
        )
        if not answer:
            return
    services.takes.answer(take.id, form_fields.one_of(Answer, answer, "answer"))


def listen_to(services: Services, take: Take) -> None:
    """Judge a take; a long one in the background, while its page tells how far it is.

    Where judging fails, the log says so and with it every page that shows the take.
    """
    if take.duration_s < LONG_S:
        with suppress(JudgingError):
            services.takes.rejudge(take.id)
        return

    def work(progress: Progress) -> str:
        def tell(share: float) -> bool:
            return progress.step(round(100 * share), 100, "Listening")

        return services.takes.rejudge(take.id, tell).reason

    services.judging.start(take.id, "Judging a take", work)


def _heard_now(services: Services, take: Take) -> Job | None:
    """Return the listening that goes on; a fault with which it ended is raised, once.

    That judging failed is in the log and stays on the page.
    """
    job = services.judging.now(take.id)
    if job is None or job.running:
        return job
    services.judging.seen()
    if job.fault is not None and not isinstance(job.fault, JudgingError):
        raise job.fault
    return None


def _context(services: Services, take: Take) -> dict[str, object]:
    hearing = _heard_now(services, take)
    state = services.state()
    step = state.steps.get(take.step_id)
    passage = _passage_of(services, take, step)
    known = state.tries.get(take.id)
    judged = (take.verdict, passage) if take.verdict and passage else None
    rows = evidence.rows_of(*judged) if judged else ()
    return {
        "here": "",
        "take": take,
        "verdict": take.verdict,
        "hearing": hearing,
        "step": step,
        "topic": state.topics.get(step.topic_id) if step else None,
        "question": question(step.criterion) if step else "",
        "cold_said": _cold_said(state, take),
        "own_answer": known.answer if known and known.judge is Judge.PLAYER else None,
        "corrected": known.corrected if known else (),
        "for_player": _for_player(step, take) if known is None else (),
        "unjudged": None if take.verdict else services.takes.why_unjudged(take),
        "failed": services.takes.why_failed(take),
        "figures": [
            (f, evidence.scale_of(f), evidence.limit_words(f))
            for f in (take.verdict.tests if take.verdict else ())
        ],
        "rows": rows,
        "stumbles": evidence.stumble_rows(*judged) if judged else (),
        "impression": evidence.impression_of(*judged) if judged and not _compared(take) else "",
        **_reference(services, take, step),
        "notation": _notation(take, passage, WIDE_PX),
        "notation_narrow": _notation(take, passage, NARROW_PX, "narrow-"),
        "wave": waveform_of(services, take),
        "others": _others(state, take),
        "wrong": "out of place" if step and step.criterion.rhythm_only else "wrong pitch",
        **_chords(take),
    }


def _compared(take: Take) -> bool:
    """Whether it was compared with another take."""
    return take.verdict is not None and take.verdict.reference is not None


def _reference(services: Services, take: Take, step: Step | None) -> dict[str, object]:
    """The take it was compared with, and whether this one is or can be such a take."""
    state = services.state()
    told = take.verdict.reference if take.verdict else None
    return {
        "reference": state.takes.get(told.take_id) if told else None,
        "chosen": state.reference_of(step) if step else None,
        "may_be_reference": step is not None and services.references.may_be(step),
    }


def _others(state: State, take: Take) -> list[Take]:
    """The other takes of its step, newest first."""
    others = [t for t in state.past(take.step_id).takes if t.id != take.id]
    return sorted(others, key=lambda t: t.at, reverse=True)


def _chords(take: Take) -> dict[str, object]:
    """What was improvised over each chord, laid out for a wide page and for a phone."""
    from coldtake.web.views import chords_heard

    verdict = take.verdict
    if verdict is None or not verdict.chords:
        return {"chords": None}
    return {
        "chords": chords_heard.drawn(verdict, chords_heard.WIDE),
        "chords_narrow": chords_heard.drawn(verdict, chords_heard.ON_PHONE),
    }


def _for_player(step: Step | None, take: Take) -> tuple[str, ...]:
    """What only the player can answer, where all that can be heard is right."""
    if step is None or take.verdict is None or take.verdict.answer is not Answer.YES:
        return ()
    return tuple(words_of(t) for t in step.criterion.tests if t not in step.criterion.heard)


def _cold_said(state: State, take: Take) -> tuple[str, ...]:
    """Say what the cold takes of its step mean, once this one, a cold take, was answered."""
    known = state.tries.get(take.id)
    if known is None or not known.cold or known.answer is Answer.CANNOT_TELL:
        return ()
    so_far = [t for t in state.step_tries(take.step_id) if t.day <= known.day]
    return cold_said(answers_of(so_far, cold=True), chosen_test(state.settings))


def _passage_of(services: Services, take: Take, step: Step | None) -> Passage | None:
    """What the verdict's notes are of: the take it was compared with, else the notation."""
    of_reference = compared.passage_of(take.verdict) if take.verdict else None
    return of_reference or _passage(services, step)


def _passage(services: Services, step: Step | None) -> Passage | None:
    try:
        return services.pile.exercise_passage(step) if step else None
    except ColdtakeError:  # the passage was changed since: the verdict stands without its notation
        return None


def _add_notation(routes: APIRouter, services: Services) -> None:
    @routes.get("/takes/{take_id}/notation.svg")
    @needs(Action.SEE)
    def notation(take_id: str, width: str = "900") -> Response:
        svg = _marked(
            services, services.takes.get(take_id), form_fields.whole(width, "width", *WIDTH_PX)
        )
        return Response(svg, media_type="image/svg+xml", headers=NOT_STORED)


def _marked(services: Services, take: Take, width_px: int) -> str:
    """Engrave what was to be played with the marks of the verdict, as for the stand.

    The first fault is named: the note (`data-fault`) and its place in the sound (`data-seek-s`).
    Raises NotFoundError where there is no notation or nothing was judged note by note.
    """
    passage = _passage(services, services.state().steps.get(take.step_id))
    svg = _notation(take, passage, width_px, scale=STAND_SCALE, faults_only=True)
    if not svg or take.verdict is None or passage is None:
        raise NotFoundError("This take has no marked notation.", remedy="See the take’s own page.")
    faults = [r for r in evidence.rows_of(take.verdict, passage) if r.kind in evidence.FAULTS]
    marks = {
        "data-fault": next((r.notation_ids[0] for r in faults if r.notation_ids), ""),
        "data-seek-s": next((f"{r.seek_s:.2f}" for r in faults if r.seek_s is not None), ""),
    }
    told = "".join(f" {name}={quoteattr(value)}" for name, value in marks.items() if value)
    return svg.replace("<svg", f"<svg{told}", 1)


def _notation(
    take: Take,
    passage: Passage | None,
    width_px: int,
    prefix: str = "",
    *,
    scale: int = 46,
    faults_only: bool = False,
) -> str:
    if passage is None or take.verdict is None or take.verdict.chords or _compared(take):
        return ""
    from coldtake.music.notation.engraving.engraver import engrave

    marks = evidence.note_marks(take.verdict)
    if faults_only:
        marks = {name: mark for name, mark in marks.items() if mark.kind != "right"}
    try:
        return engrave(
            passage,
            marks=marks,
            extras=evidence.extra_marks(take.verdict),
            width_px=width_px,
            scale=scale,
            prefix=prefix,
        )
    except PassageError:
        return ""


def waveform_of(services: Services, take: Take) -> Waveform | None:
    """Draw the sound of a take; None where its file is gone."""
    from coldtake.web.views.waveform import waveform

    try:
        return waveform(services.takes.sound(take.id))
    except ColdtakeError:  # the file is gone; what was heard in it stays
        return None
