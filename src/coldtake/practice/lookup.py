"""Look things up in the state; what is not there is an error for the person."""

from collections.abc import Mapping
from typing import TypeVar

from coldtake.domain.events import TakeJudged
from coldtake.domain.history.state import State
from coldtake.domain.page import PageFile, PageView, page_key
from coldtake.domain.performance import Performance, Run
from coldtake.domain.requirement import Appointment
from coldtake.domain.session import SessionRun
from coldtake.domain.take import Take, Try, Verdict
from coldtake.domain.topic import Step, StoredPassage, Topic
from coldtake.errors import NotFoundError
from coldtake.ports import Store

Thing = TypeVar("Thing")


def topic(state: State, topic_id: str) -> Topic:
    """Return a topic. Raises NotFoundError."""
    return _found(state.topics, topic_id, "topic")


def step(state: State, step_id: str) -> Step:
    """Return a step. Raises NotFoundError."""
    return _found(state.steps, step_id, "step")


def stored_passage(state: State, passage_id: str) -> StoredPassage:
    """Return a passage as it was given. Raises NotFoundError."""
    return _found(state.passages, passage_id, "passage")


def page_file(state: State, file_id: str) -> PageFile:
    """Return a file of pages, also a deleted one. Raises NotFoundError."""
    return _found(state.page_files, file_id, "page")


def page_view(state: State, file_id: str, number: int) -> PageView:
    """Return how a page is shown. Raises NotFoundError."""
    return _found(state.page_views, page_key(file_id, number), "page")


def session(state: State, session_id: str) -> SessionRun:
    """Return a session. Raises NotFoundError."""
    return _found(state.sessions, session_id, "session")


def take(state: State, take_id: str) -> Take:
    """Return a take. Raises NotFoundError."""
    return _found(state.takes, take_id, "take")


def attempt(state: State, try_id: str) -> Try:
    """Return an answered try. Raises NotFoundError."""
    return _found(state.tries, try_id, "answer")


def whole_verdict(store: Store, take: Take) -> Verdict | None:
    """Return a take's verdict with all its evidence, which stays in the log."""
    told = store.event(take.judged_by) if take.judged_by else None
    if told is None or not isinstance(told.data, TakeJudged):
        return take.verdict
    return told.data.verdict


def performance(state: State, performance_id: str) -> Performance:
    """Return a performance that is still to be, or was played. Raises NotFoundError."""
    return _found(state.performances, performance_id, "performance")


def performance_off(state: State, performance_id: str) -> Performance:
    """Return a performance that was taken back. Raises NotFoundError."""
    return _found(state.performances_off, performance_id, "performance")


def run(state: State, run_id: str) -> Run:
    """Return a run-through, or what was told of a performance. Raises NotFoundError."""
    return _found(state.runs, run_id, "run-through")


def appointment(state: State, appointment_id: str) -> Appointment:
    """Return a rehearsal or lesson. Raises NotFoundError."""
    return _found(state.appointments, appointment_id, "rehearsal or lesson")


def appointment_off(state: State, appointment_id: str) -> Appointment:
    """Return a rehearsal or lesson that was deleted. Raises NotFoundError."""
    return _found(state.appointments_off, appointment_id, "rehearsal or lesson")


def _found(things: Mapping[str, Thing], key: str, name: str) -> Thing:
    thing = things.get(key)
    if thing is None:
        raise NotFoundError(
            f"This {name} was not found.", remedy="It may have been deleted. Go to Topics."
        )
    return thing
