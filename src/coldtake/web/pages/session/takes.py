"""All takes by topic and answer, and two of them compared by ear."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from starlette.responses import Response
from starlette.templating import Jinja2Templates

from coldtake.domain.topic import Place
from coldtake.errors import ColdtakeError, InputError
from coldtake.practice.access import Action, needs
from coldtake.web.pages.session.take import waveform_of
from coldtake.web.views import compared, take_list
from coldtake.web.views.session_data import DELETED_MOST

if TYPE_CHECKING:
    from coldtake.domain.history.state import State
    from coldtake.domain.take import Take, Verdict
    from coldtake.music.passage import Passage
    from coldtake.practice.services import Services

SHOWN = 60  # takes on a page


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of the takes. They come before those of one take."""
    routes = APIRouter()

    @routes.get("/takes")
    @needs(Action.SEE)
    def show(
        request: Request,
        topic: str = "",
        answer: str = "",
        cold: str = "",
        page: int = 1,
        deleted: int = 0,
        left: int = 0,
    ) -> Response:
        context = _list(services, topic, answer, cold=bool(cold), page=max(page, 1))
        context |= {"deleted": deleted, "left": left}
        context |= {"forget": _forgotten(services) if deleted else None}
        return templates.TemplateResponse(request, "takes.html", context)

    @routes.get("/takes/compare")
    @needs(Action.SEE)
    def compare(request: Request, a: str = "", b: str = "") -> Response:
        if not a or not b or a == b:
            raise InputError("Two different takes are needed.", remedy="Choose them in the list.")
        takes = (services.takes.get(a), services.takes.get(b))
        context = _compared(services, takes)
        return templates.TemplateResponse(request, "takes_compare.html", context)

    return routes


def _list(
    services: Services, topic_id: str, answer: str, *, cold: bool, page: int
) -> dict[str, object]:
    state = services.state()
    if answer and answer not in take_list.ANSWERS:
        raise InputError(f"“{answer}” is not an answer.", where="answer", remedy="Choose one.")
    chosen = (services.pile.topic(topic_id).id,) if topic_id else _current(state)
    rows = take_list.rows_of(state, chosen, answer, cold=cold)
    shown = rows[SHOWN * (page - 1) : SHOWN * page]
    return {
        "here": "",
        "topics": sorted(state.topics.values(), key=lambda t: t.title.casefold()),
        "topic_id": topic_id,
        "answer": answer,
        "answers": take_list.ANSWERS,
        "cold": cold,
        "days": [(day, list(some)) for day, some in groupby(shown, key=lambda r: r.take.day)],
        "count": len(rows),
        "all_takes": state.take_count,
        "page": page,
        "pages": -(-len(rows) // SHOWN),
        "pairs": _pairs(services, chosen),
    }


def _forgotten(services: Services) -> dict[str, list[str]]:
    """Name what a browser may still hold of the takes that were deleted last."""
    latest = list(services.state().takes_deleted.values())[-DELETED_MOST:]
    return {
        "takes": [one.take_id for one in latest],
        "entries": [entry_id for one in latest for entry_id in one.entry_ids],
    }


def _current(state: State) -> tuple[str, ...]:
    return tuple(t.id for t in state.topics.values() if t.place is Place.CURRENT)


def _pairs(services: Services, topic_ids: tuple[str, ...]) -> list[dict[str, object]]:
    """The first and last take of this month of each step that has two."""
    state, today = services.state(), services.today()
    found = (
        (step, take_list.first_and_last(state.past(step.id).takes, today))
        for topic_id in topic_ids
        for step in state.topic_steps(topic_id)
    )
    return [{"step": step, "first": pair[0], "last": pair[1]} for step, pair in found if pair]


def _compared(services: Services, takes: tuple[Take, Take]) -> dict[str, object]:
    state = services.state()
    steps = [state.steps.get(take.step_id) for take in takes]
    passage = _passage_of_both(services, takes)
    verdicts = (takes[0].verdict, takes[1].verdict)
    against = _against_reference(takes)
    if against is not None:
        passage, verdicts = compared.passage_of(against), _both_sides(takes, against)
    judged = None if verdicts[0] is None or verdicts[1] is None else (verdicts[0], verdicts[1])
    anchors = take_list.anchors(passage, judged) if passage and judged else ()
    waves = [waveform_of(services, take) for take in takes]
    levels = (waves[0].level if waves[0] else 0.0, waves[1].level if waves[1] else 0.0)
    return {
        "here": "",
        "sides": [
            {
                "name": name,
                "take": take,
                "step": step,
                "answer": take_list.answer_of(take, state.tries.get(take.id)),
                "wave": wave,
                "volume": volume,
            }
            for name, take, step, wave, volume in zip(
                "AB", takes, steps, waves, take_list.volumes(levels), strict=True
            )
        ],
        "same": passage is not None,
        "bars": _places(passage, judged, anchors, against, takes),
        "anchors": anchors,
        "against": against is not None,
        "begin_at": "" if against is not None else "bar ",
    }


def _against_reference(takes: tuple[Take, Take]) -> Verdict | None:
    """The verdict on one of the two where the other is the reference it was compared with."""
    for take, other in (takes, takes[::-1]):
        told = take.verdict.reference if take.verdict else None
        if told is not None and told.take_id == other.id:
            return take.verdict
    return None


def _both_sides(
    takes: tuple[Take, Take], against: Verdict
) -> tuple[Verdict | None, Verdict | None]:
    """What is known of both: of the reference, the times at which its notes begin."""
    there = compared.of_reference(against)
    return (against, there) if takes[0].verdict is against else (there, against)


def _places(
    passage: Passage | None,
    judged: tuple[Verdict, Verdict] | None,
    anchors: tuple[tuple[float, float], ...],
    against: Verdict | None,
    takes: tuple[Take, Take],
) -> tuple[take_list.SharedBar, ...]:
    """Where both can be begun: at bars or, without notation, at what differs."""
    if passage is None or judged is None:
        return ()
    if against is None:
        return take_list.shared_bars(passage, judged)
    if takes[0].verdict is not against:  # the first one is the reference
        return compared.places(against, anchors)
    turned = compared.places(against, [(b, a) for a, b in anchors])
    return tuple(take_list.SharedBar(p.label, (p.at_s[1], p.at_s[0])) for p in turned)


def _passage_of_both(services: Services, takes: tuple[Take, Take]) -> Passage | None:
    """The notation that both takes played, None where they played two or it cannot be read."""
    state = services.state()
    first, second = (state.steps.get(take.step_id) for take in takes)
    if first is None or second is None or first.exercise.passage != second.exercise.passage:
        return None
    try:
        return services.pile.exercise_passage(first)
    except ColdtakeError:
        return None
