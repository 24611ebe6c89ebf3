"""What the session page is told: the plan, its steps with their notation, the session's events."""

from __future__ import annotations

from datetime import date
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import msgspec

from coldtake.domain import events as ev
from coldtake.domain.criterion import ChangesTest, TempoTest
from coldtake.domain.criterion_words import question
from coldtake.domain.days import PAUSE
from coldtake.domain.history.state import State
from coldtake.domain.instants import AHEAD_MOST
from coldtake.domain.plan import Plan
from coldtake.domain.session import SessionRun
from coldtake.domain.take import Try, Verdict
from coldtake.domain.topic import Step, StepPhase
from coldtake.errors import InputError, NotFoundError
from coldtake.learning.pass_evidence import answers_of
from coldtake.web.rendering import without_answer
from coldtake.web.views.notation import is_picture, notation_path
from coldtake.web.views.pass_messages import after_cold, chosen_test, lucky_said

if TYPE_CHECKING:
    from coldtake.music.passage import Passage
    from coldtake.practice.services import Services

SETTINGS = ("quiet_seconds", "click_volume", "a4_hz", "takes_alone")
OWN_REST_BARS = 4  # an improviser may rest so long without having ended
DELETED_MOST = 500  # takes; a browser holds no more than what two sessions brought
_ANSWERS_MOST = 100  # as many as "k of n" can ask for


def snapshot(services: Services) -> dict[str, Any]:
    """Return all that the page needs to run a session to its end without a server.

    session : the running one, else the latest of today, else None
    plan : the session's own copy, else today's, else None
    settled : ids of events that follow under other ids now, with their right day, or are deleted;
        also those of deleted takes
    next_plan : today's whose turn it is
    late : what stays of it, or else of `plan`, when it is begun late
    days : what decides to which practice day an instant belongs
    seen : how far the log had been read; what comes later is asked for from there
    """
    from coldtake.planning.day.late_start import late_starts

    seen = services.sessions.seen()
    state, today = services.state(), services.today()
    session = state.running_session() or _latest(state, today)
    next_plan = _still_to_run(state, services.plans.plan(today), today)
    plan = session.plan if session else next_plan
    chosen = services.settings.all()
    return {
        "day": today,
        "days": _days(services),
        "seen": seen,
        "session": _session(session) if session else None,
        "plan": plan,
        "next_plan": next_plan,
        "late": late_starts(begun) if (begun := next_plan or plan) else None,
        "steps": _steps(services, state, plan, session) | _steps_of_today(services, state, today),
        "settled": [*(one for one, done in state.passed_over.items() if done), *_emptied(state)],
        "settings": {name: chosen[name] for name in SETTINGS},
        "events": [shortened(e) for e in services.sessions.events(session.id)] if session else [],
    }


def _emptied(state: State) -> list[str]:
    """Name the entries of the takes that were deleted last: a browser may still hold them."""
    latest = list(state.takes_deleted.values())[-DELETED_MOST:]
    return [entry_id for one in latest for entry_id in one.entry_ids]


def _days(services: Services) -> dict[str, Any]:
    near = services.days_near()
    return {
        "acted": near.acted,
        "planned": near.planned,
        "pause_s": PAUSE.total_seconds(),
        "ahead_s": AHEAD_MOST.total_seconds(),
    }


def _still_to_run(state: State, plan: Plan | None, today: date) -> Plan | None:
    """Return a plan without its run-through once that was played today."""
    if plan is None or plan.run is None:
        return plan
    planned = set(plan.run.topic_ids)
    played = [r for r in state.runs.values() if r.day == today and planned <= set(r.topic_ids)]
    return msgspec.structs.replace(plan, run=None) if played else plan


def _latest(state: State, today: date) -> SessionRun | None:
    ended = [state.sessions[i] for i in state.sessions_on.get(today, ())]
    return max(ended, key=lambda s: s.started_at, default=None)


def _session(session: SessionRun) -> dict[str, Any]:
    return {
        "id": session.id,
        "day": session.day,
        "started_at": session.started_at,
        "ended_at": session.ended_at,
    }


def _steps_of_today(services: Services, state: State, today: date) -> dict[str, Any]:
    plan = services.plans.plan(today)
    return _steps(services, state, plan, None) if plan else {}


def _steps(
    services: Services, state: State, plan: Plan | None, session: SessionRun | None
) -> dict[str, Any]:
    if plan is None:
        return {}
    slots = (*plan.slots, *plan.spare)
    known = {s.step_id: state.steps[s.step_id] for s in slots if s.step_id in state.steps}
    own = set(session.try_ids) if session else set()
    before = {i: [t for t in state.step_tries(i) if t.id not in own] for i in known}
    return {i: _step(services, state, step, before[i]) for i, step in known.items()}


def _step(services: Services, state: State, step: Step, before: list[Try]) -> dict[str, Any]:
    from coldtake.practice.topics.proposals.laying import is_way

    passage = _passage(services, step)
    topic = state.topics.get(step.topic_id)
    criterion, exercise = step.criterion, step.exercise
    return {
        "title": step.title,
        "topic_title": topic.title if topic else "",
        "question": question(criterion),
        "words": exercise.words,
        "way": is_way(exercise),
        "key": exercise.key,
        "times": {"wanted": criterion.times.wanted, "among": criterion.times.among},
        "answers_before": answers_of(before)[-_ANSWERS_MOST:],
        "after_cold": after_cold(before, chosen_test(state.settings)),
        "lucky": lucky_said(step, before),
        "heard": bool(criterion.heard)
        and (passage is not None or state.reference_of(step) is not None),
        "player_tests": len(criterion.heard) < len(criterion.tests),
        "tempo_bpm": _tempo(step, passage),
        "begin_bpm": _begin(state, step, before),
        "written": _written(step, passage),
        "click": exercise.click,
        "notation": notation_path(step) if passage or is_picture(step) else None,
        "picture": is_picture(step),
        **_lengths(passage, criterion.changes),
    }


def _passage(services: Services, step: Step) -> Passage | None:
    try:
        return services.pile.exercise_passage(step)
    except (InputError, NotFoundError):
        return None  # the slot is still worth its minutes without notation


def _written(step: Step, passage: Passage | None) -> str:
    """Say the tempo in the notation where it is another than the one asked for."""
    from coldtake.planning.tempi import tempi_of, tempi_words

    written = passage.written_bpm if passage else None
    tempi = tempi_of(step, (), StepPhase.OPEN, written)
    return tempi_words(tempi, target=False, today=False)


def _begin(state: State, step: Step, before: list[Try]) -> float | None:
    """Return the tempo to begin work at, as the plan's goal says it [quarters a minute]."""
    from coldtake.planning.tempi import tempi_in

    tempi = tempi_in(state, step, tries=before)
    return None if tempi.start is None else tempi.start * tempi.unit_beats


def _tempo(step: Step, passage: Passage | None) -> float | None:
    """Return the click's tempo: the exercise's, else the criterion's, else what is written."""
    marks = [t.bpm for t in step.criterion.tests if isinstance(t, TempoTest)]
    written = passage.written_bpm if passage else None
    return step.exercise.tempo_bpm or (marks[0] if marks else written)


def _lengths(passage: Passage | None, over: ChangesTest | None) -> dict[str, float | None]:
    """Return length, pick-up and longest written silence in quarter beats.

    over : an improvisation lasts as many choruses as asked, and is silent where it likes
    """
    if passage is None:
        return {"passage_beats": None, "pickup_beats": 0.0, "longest_rest_beats": 0.0}
    first = passage.bars[0] if passage.bars else None
    full = 4 * first.metre[0] / first.metre[1] if first else 0.0
    pickup = first.length_beats if first and first.length_beats < full else 0.0
    rests = [b.onset_beats - a.end_beats for a, b in pairwise(passage.notes)]
    longest = max([0.0, *rests]) if over is None else OWN_REST_BARS * full
    return {
        "passage_beats": passage.length_beats * (1 if over is None else over.choruses),
        "pickup_beats": pickup,
        "longest_rest_beats": longest,
    }


def shortened(event: ev.Event) -> dict[str, Any]:
    """Return an event as JSON values; a verdict without its evidence, which has its own page."""
    plain: dict[str, Any] = msgspec.to_builtins(event)
    if isinstance(event.data, ev.TakeJudged):
        plain["data"]["verdict"] = short_verdict(event.data.verdict)
    return plain


def short_verdict(verdict: Verdict) -> dict[str, Any]:
    """Return what is read from two metres away."""
    return {
        "answer": verdict.answer,
        "reason": without_answer(verdict.reason),
        "remedy": verdict.remedy,
        "tempo_bpm": verdict.tempo_bpm,
    }
