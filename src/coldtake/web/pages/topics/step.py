"""One step: its question, what is played, what it needs, the tries so far and what they support."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import urlencode

import msgspec
from fastapi import APIRouter, Request
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.domain.criterion_words import BEAT_UNITS, question
from coldtake.domain.take import FirstTry, NewTake
from coldtake.domain.topic import ClickSetting, Exercise, PassageRef, Step
from coldtake.errors import BusyError, InputError, NotFoundError
from coldtake.learning.pass_evidence import answers_of, pass_of, since_slip
from coldtake.planning.value import at_hand, at_hand_words
from coldtake.practice.access import Action, needs
from coldtake.practice.topics.weak_bars import Cut
from coldtake.units import METRONOME_MARKS
from coldtake.web.forms import form_fields, requirements
from coldtake.web.forms.criteria import editor_of, read_criterion
from coldtake.web.forms.form_fields import Fields, text_fields
from coldtake.web.pages.session.take import listen_to
from coldtake.web.pages.topics import answers
from coldtake.web.pages.topics.elsewhere import add_elsewhere
from coldtake.web.views import pass_messages, tries, weak_places
from coldtake.web.views.notation import bar_query, is_picture, notation_path, sound_path

if TYPE_CHECKING:
    from coldtake.domain.take import Try
    from coldtake.practice.services import Services
    from coldtake.web.views.progress_charts import ExerciseTempoView

Form = dict[str, str]


def read_exercise(form: Form, known: Exercise) -> Exercise:
    """Read bars, tempo, key, words and click; the passage itself stays."""
    unit = form_fields.number(form.get("beat_unit", "1"), "beat unit", 0.125, 8)
    mark = form_fields.maybe_number(form.get("tempo", ""), "tempo", 10, 400)
    click = ClickSetting(
        beat_unit_beats=unit,
        beats_per_bar=form_fields.whole(form.get("beats_per_bar") or "4", "beats in a bar", 1, 32),
        count_in_bars=form_fields.whole(form.get("count_in") or "0", "bars of count-in", 0, 8),
        on=bool(form.get("click")),
        on_beats=_beats(form.get("on_beats", "")),
        bars_on=form_fields.whole(form.get("bars_on") or "1", "bars with the click", 1, 64),
        bars_off=form_fields.whole(form.get("bars_off") or "0", "silent bars", 0, 64),
    )
    return Exercise(
        passage=_bars(form, known.passage),
        tempo_bpm=None if mark is None else mark * unit,
        clean_bpm=known.clean_bpm,
        key=" ".join(form.get("key", "").split())[:40],
        words=form.get("words", "").strip()[:500],
        click=click,
        marked=known.marked,
    )


def _beats(text: str) -> tuple[int, ...]:
    """Read the beats of a bar that sound: whole numbers with anything between them."""
    found = {int(word) for word in re.findall(r"\d{1,2}", text)}
    return tuple(sorted(n for n in found if 1 <= n <= 32))


def _bars(form: Form, ref: PassageRef | None) -> PassageRef | None:
    if ref is None:
        return None
    first = form_fields.maybe_whole(form.get("first_bar", ""), "first bar", 1, 100_000)
    last = form_fields.maybe_whole(form.get("last_bar", ""), "last bar", 1, 100_000)
    return PassageRef(passage_id=ref.passage_id, first_bar=first, last_bar=last)


def given_notation(fields: FormData) -> tuple[bytes, str]:
    """Return pasted or uploaded notation with its file name. Raises InputError without any."""
    file = form_fields.upload(fields, "file")
    if file is not None:
        return file
    text = text_fields(fields).get("abc", "").strip()
    if not text:
        raise InputError(
            "There is no notation yet.",
            where="passage",
            remedy="Paste it as ABC, or choose a .musicxml, .mxl, .mei or .abc file.",
        )
    return text.encode(), "pasted.abc"


def hear_page(step: Step) -> str:
    """Return the address where a step's exercise can be heard and looped, empty without one."""
    ref = step.exercise.passage
    if ref is None:
        return ""
    bars = {n: b for n, b in (("first", ref.first_bar), ("last", ref.last_bar)) if b}
    return f"/passages/{ref.passage_id}?{urlencode({**bars, 'step': step.id})}"


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of the step page."""
    routes = APIRouter()
    add_elsewhere(routes, services)
    answers.add_answers(routes, services)

    def change(step_id: str, **fields: object) -> Response:
        known = services.pile.step(step_id)
        services.pile.keep_step(msgspec.structs.replace(known, **fields))
        return RedirectResponse(f"/steps/{step_id}", status_code=303)

    @routes.get("/steps/{step_id}")
    @needs(Action.SEE)
    def show(request: Request, step_id: str) -> Response:
        step = services.pile.step(step_id)
        return templates.TemplateResponse(request, "step.html", _context(services, step))

    @routes.post("/steps/{step_id}")
    @needs(Action.CHANGE_TOPICS)
    def keep(step_id: str, fields: Fields) -> Response:
        form = text_fields(fields)
        known = services.pile.step(step_id)
        return change(
            step_id,
            requires=requirements.read(fields, known.requires),
            title=form_fields.line(form.get("title", ""), "step", "A step needs a name."),
            need_min=form_fields.whole(form.get("need_min", ""), "minutes needed", 1, 6000, "min"),
            needs=tuple(n for n in fields.getlist("needs") if isinstance(n, str) and n),
        )

    @routes.post("/steps/{step_id}/criterion")
    @needs(Action.CHANGE_TOPICS)
    def criterion(step_id: str, fields: Fields) -> Response:
        return change(step_id, criterion=read_criterion(text_fields(fields)))

    @routes.post("/steps/{step_id}/exercise")
    @needs(Action.CHANGE_TOPICS)
    def exercise(step_id: str, fields: Fields) -> Response:
        known = services.pile.step(step_id).exercise
        return change(step_id, exercise=read_exercise(text_fields(fields), known))

    @routes.post("/steps/{step_id}/passage")
    @needs(Action.CHANGE_TOPICS)
    def passage(step_id: str, fields: Fields) -> Response:
        chosen = text_fields(fields).get("passage_id", "")
        if chosen:
            services.pile.give_passage(step_id, chosen)
        else:
            services.pile.give_notation(step_id, *given_notation(fields))
        return RedirectResponse(f"/steps/{step_id}", status_code=303)

    @routes.post("/steps/{step_id}/weak-bars")
    @needs(Action.CHANGE_TOPICS)
    def take_on(step_id: str, fields: Fields) -> Response:
        form = text_fields(fields)
        new = services.weak_bars.take_on(
            step_id,
            form_fields.whole(form.get("bar", ""), "bar", 0, 100_000),
            form_fields.one_of(Cut, form.get("cut", ""), "suggested step"),
        )
        return RedirectResponse(f"/steps/{new.id}", status_code=303)

    @routes.post("/steps/{step_id}/takes")
    @needs(Action.PLAY)
    def take(step_id: str, fields: Fields) -> Response:
        services.pile.step(step_id)
        sound, filename = form_fields.recording(fields)
        said = text_fields(fields).get("cold") or FirstTry.NOT_SAID
        first_try = services.takes.by_hand(
            step_id, form_fields.one_of(FirstTry, said, "first try of the day")
        )
        new = NewTake(step_id=step_id, source="upload", first_try=first_try)
        kept = services.takes.keep(sound, new, filename)
        with suppress(BusyError):  # its page says that it is not judged yet, and when it will be
            listen_to(services, kept)
        return RedirectResponse(f"/takes/{kept.id}", status_code=303)

    return routes


def _weak(services: Services, step: Step) -> dict[str, object]:
    """The bars that go wrong by habit, in words and on the notation."""
    try:
        places = services.weak_bars.of_step(step.id)
        passage = services.pile.exercise_passage(step) if places else None
    except (InputError, NotFoundError):  # the page says elsewhere that it cannot be read
        return {"weak": ()}
    if passage is None:
        return {"weak": ()}
    return {
        "weak": [weak_places.shown(place) for place in places],
        "weak_notation": weak_places.engraved(passage, places, weak_places.WIDE_PX, "weak-"),
        "weak_notation_narrow": weak_places.engraved(
            passage, places, weak_places.NARROW_PX, "weak-narrow-"
        ),
    }


def _takes(services: Services, step: Step) -> dict[str, object]:
    """List its takes, newest first, with the reasons why some have no verdict."""
    state = services.state()
    takes = state.past(step.id).takes
    return {
        "takes": sorted(takes, key=lambda t: t.at, reverse=True),
        "deleted": sum(one.step_id == step.id for one in state.takes_deleted.values()),
        "unjudged": {t.id: services.takes.why_unjudged(t) for t in takes if not t.verdict},
        "reference": state.reference_of(step),
        "may_have_reference": services.references.may_be(step),
        "had_cold": state.cold_on(step.id, services.today()),
    }


@dataclass(frozen=True, slots=True)
class _Music:
    """What a step's notation says; `fault` where it cannot be read any more."""

    bars: int = 0
    written_bpm: float | None = None
    fault: str = ""


def _music(services: Services, step: Step) -> _Music:
    """Read a step's notation; a step opens also without, or nobody could give it another."""
    ref = step.exercise.passage
    if ref is None:
        return _Music()
    try:
        whole, played = services.pile.passage(ref.passage_id), services.pile.exercise_passage(step)
    except (InputError, NotFoundError) as fault:
        return _Music(fault=str(fault))
    return _Music(len(whole.bars), played.written_bpm if played else None)


def _waiting(services: Services, step: Step) -> dict[str, object]:
    """Say what a step waits for, and when a met one is asked back."""
    from coldtake.planning.day import keeping_words

    state, today = services.state(), services.today()
    lacking = at_hand.lacks(state, step)
    return {
        "inherited": at_hand_words.requirement_names(state.topics[step.topic_id].requires),
        "waits_for": at_hand_words.waits_for(state, step, lacking, today) if lacking else "",
        "asked_again": keeping_words.asked_again_of(state, step.id, services.plans.tomorrow()),
    }


def _tempo(services: Services, step: Step) -> ExerciseTempoView | None:
    """Draw its clean tempi; None before the first."""
    from coldtake.web.views.progress_charts import tempo_of

    known = services.progress.exercise_of(step)
    return tempo_of(services, known) if known else None


def _means(chosen: Mapping[str, str], step: Step, own: Sequence[Try]) -> dict[str, object]:
    """Say what a pass and the cold takes of a step mean."""
    times, answers = step.criterion.times, answers_of(since_slip(step.criterion, own))
    test = pass_messages.chosen_test(chosen)
    return {
        "pass_said": pass_messages.pass_words(times, pass_of(times, answers)),
        "cold_said": pass_messages.cold_said(answers_of(own, cold=True), test),
        "example_said": "" if times == pass_messages.FIVE else pass_messages.example_words(),
        "tested": test is not None,
    }


def _context(services: Services, step: Step) -> dict[str, object]:
    from coldtake.planning.tempi import tempi_in, tempi_words

    state = services.state()
    own = state.step_tries(step.id)
    ref = step.exercise.passage
    music = _music(services, step)
    unit = step.exercise.click.beat_unit_beats
    return {
        "here": "",
        "step": step,
        "topic": state.topics[step.topic_id],
        "phase": state.phase(step.id),
        "question": question(step.criterion),
        "editor": editor_of(step.criterion),
        "others": [s for s in state.topic_steps(step.topic_id) if s.id != step.id],
        "notation": "" if music.fault else notation_path(step),
        "picture": is_picture(step),
        "unreadable": music.fault,
        "sound": sound_path(step),
        "hear_page": hear_page(step),
        "passage": state.passages.get(ref.passage_id) if ref and not music.fault else None,
        "bars": music.bars,
        "bar_query": bar_query(ref) if ref else "",
        "passages": sorted(state.passages.values(), key=lambda p: p.title.casefold()),
        "tempi": tempi_words(tempi_in(state, step, music.written_bpm)),
        "mark": step.exercise.tempo_bpm / unit if step.exercise.tempo_bpm else None,
        "units": tuple(BEAT_UNITS.items()),
        "marks_series": METRONOME_MARKS,
        "tries": own,
        "answers": answers.latest(own),
        "stave": tries.tries_stave(own),
        "estimate": services.reports.estimate(step.id),
        "today": services.today(),
        "requires": requirements.ticks(step.requires),
        **_waiting(services, step),
        "tempo": _tempo(services, step),
        **_means(state.settings, step, own),
        **_takes(services, step),
        **_weak(services, step),
    }
