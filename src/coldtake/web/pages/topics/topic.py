"""A topic's map: what it is, when it must work, and its steps in order with what they need."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import msgspec
from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.domain.criterion import default_criterion
from coldtake.domain.criterion_words import question
from coldtake.domain.history.pages import files_of
from coldtake.domain.history.state import State
from coldtake.domain.topic import MET_ONCE, KeepTakes, Step, StepPhase, Topic, TopicKind
from coldtake.music.theory.instruments import by_family, instrument_named
from coldtake.planning.value.at_hand_words import requirement_names
from coldtake.practice.access import Action, needs
from coldtake.web.forms import form_fields, requirements
from coldtake.web.forms.criteria import editor_of, read_criterion
from coldtake.web.forms.form_fields import Fields, text_fields
from coldtake.web.views.notation import music_name, notation_path

if TYPE_CHECKING:
    from coldtake.practice.services import Services


KEEP_TAKES = {
    KeepTakes.ALL: "all",
    KeepTakes.FIRST_TRIES: "first tries of the day",
    KeepTakes.NONE: "none after judging",
}


@dataclass(frozen=True, slots=True)
class StepLine:
    """One step as its topic's map shows it."""

    step: Step
    phase: StepPhase
    question: str
    needs: tuple[Step, ...]
    ready: bool
    requires: str
    notation: str
    music: str
    tempi: str


def step_lines(state: State, topic_id: str) -> tuple[StepLine, ...]:
    """Read a topic's steps in order."""
    from coldtake.planning.tempi import clean_elsewhere, heard_clean, tempi_of, tempi_words

    phases, heard = state.phases(), heard_clean(state, topic_id)
    met = {i for i, p in phases.items() if p in MET_ONCE}
    return tuple(
        StepLine(
            step=step,
            phase=phases[step.id],
            question=question(step.criterion),
            needs=tuple(state.steps[n] for n in step.needs if n in state.steps),
            ready=step.id in met or all(n in met for n in step.needs),
            requires=requirement_names(step.requires),
            notation=notation_path(step),
            music=music_name(step),
            tempi=tempi_words(
                tempi_of(
                    step,
                    state.step_tries(step.id),
                    phases[step.id],
                    elsewhere_bpm=clean_elsewhere(step, heard),
                ),
                target=False,
            ),
        )
        for step in state.topic_steps(topic_id)
    )


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of the topic map."""
    routes = APIRouter()

    @routes.get("/topics/{topic_id}")
    @needs(Action.SEE)
    def topic_map(request: Request, topic_id: str) -> Response:
        context = topic_context(services, topic_id)
        return templates.TemplateResponse(request, "topic.html", context)

    @routes.post("/topics/{topic_id}")
    @needs(Action.CHANGE_TOPICS)
    def keep(topic_id: str, fields: Fields) -> Response:
        form = text_fields(fields)
        known = services.pile.topic(topic_id)
        date_text = form.get("performance_on", "")
        unchanged = known.performance_on is not None and date_text == str(known.performance_on)
        on = known.performance_on if unchanged else None
        if date_text and not unchanged:
            on = form_fields.day(date_text, "date", today=services.today())
        said = form.get("keep_takes", known.keep_takes)
        keep = form_fields.one_of(KeepTakes, said, "takes to keep")
        unchanged_rule = keep is known.keep_takes
        services.pile.keep_topic(
            msgspec.structs.replace(
                known,
                title=form_fields.line(form.get("title", ""), "title", "A topic needs a name."),
                kind=form_fields.one_of(TopicKind, form.get("kind", "other"), "kind"),
                importance=form_fields.whole(form.get("importance", "3"), "importance", 1, 5),
                performance_on=on,
                notes=form.get("notes", "").strip(),
                requires=requirements.read(fields, known.requires),
                instrument=_instrument(form.get("instrument", known.instrument), known),
                keep_takes=keep,
                keep_takes_from=known.keep_takes_from if unchanged_rule else services.today(),
            )
        )
        return RedirectResponse(f"/topics/{topic_id}", status_code=303)

    @routes.post("/topics/{topic_id}/steps")
    @needs(Action.CHANGE_TOPICS)
    def add_step(topic_id: str, fields: Fields) -> Response:
        form = text_fields(fields)
        services.pile.topic(topic_id)
        title = form_fields.line(
            form.get("title", ""), "step", "Enter what you want to play clean."
        )
        asked = "times_wanted" in form  # the editor was there; the pile's first step has none
        criterion = read_criterion(form) if asked else default_criterion()
        step = Step(id=services.new_id(), topic_id=topic_id, title=title, criterion=criterion)
        services.pile.keep_step(step)
        back = form_fields.own_path(form.get("back", f"/topics/{topic_id}"))
        return RedirectResponse(back, status_code=303)

    @routes.post("/steps/{step_id}/move")
    @needs(Action.CHANGE_TOPICS)
    def move_step(step_id: str, by: Annotated[str, Form()] = "1") -> Response:
        topic_id = services.pile.step(step_id).topic_id
        ids = [s.id for s in services.state().topic_steps(topic_id)]
        services.pile.order_steps(
            topic_id, form_fields.moved(ids, step_id, form_fields.whole(by, "places", -100, 100))
        )
        return RedirectResponse(f"/topics/{topic_id}", status_code=303)

    @routes.post("/steps/{step_id}/drop")
    @needs(Action.CHANGE_TOPICS)
    def drop_step(step_id: str) -> Response:
        topic_id = services.pile.step(step_id).topic_id
        services.pile.drop_step(step_id)
        return RedirectResponse(f"/topics/{topic_id}", status_code=303)

    return routes


def _instrument(chosen: str, known: Topic) -> str:
    """Read a topic's own instrument, none where it is the usual one. Raises InputError."""
    return chosen if chosen in ("", known.instrument) else instrument_named(chosen).name


def topic_context(services: Services, topic_id: str) -> dict[str, Any]:
    """Return what a topic's page shows. Raises NotFoundError."""
    topic = services.pile.topic(topic_id)
    state = services.state()
    return {
        "here": "",
        "topic": topic,
        "standing": state.standings()[topic_id],
        "lines": step_lines(state, topic_id),
        "page_files": files_of(state, topic_id),
        "kinds": list(TopicKind),
        "keep_takes": KEEP_TAKES,
        "takes": sum(len(state.past(s.id).takes) for s in state.topic_steps(topic_id)),
        "instruments": by_family(),
        "usual_instrument": next(iter(services.settings.instruments()), ""),
        "requires": requirements.ticks(topic.requires),
        "editor": editor_of(default_criterion()),
        "today": services.today(),
        "next_date": state.topic_date(topic_id, services.today()),
        "stages": [p for p in services.performances.upcoming() if topic_id in p.programme],
    }
