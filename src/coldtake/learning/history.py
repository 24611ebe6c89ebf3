"""What the log says about each step, in the order in which it happened.

A slot's minutes are laid over the clock: a try inside the slot sees the minutes before it. "Cannot
tell" says nothing about the skill and is left out as an answer, but the playing counts. What a
run-through or a performance said of a step is a cold answer under harder conditions: its `shift`.
"""

from collections.abc import Iterable
from datetime import date, datetime
from typing import NamedTuple

from coldtake.domain.history.state import State
from coldtake.domain.history.step_history import StepHistory
from coldtake.domain.performance import RunKind, StageTry
from coldtake.domain.take import Answer, Judge, Try, Work

# Logits by which a step comes out less surely than cold in the room: the middles of stage's prior.
SHIFTS = {RunKind.RUN_THROUGH: -0.25, RunKind.STAGE: -0.5}
TRY_MIN = 0.5  # minutes of playing that a try outside any slot stands for; a guess


class HistoryMark(NamedTuple):
    """One thing that happened to a step on a day (proleptic Gregorian ordinal).

    minutes : of playing just before the answer
    cold : the answer is that of a cold take
    yes : the answer, None when there was none
    heard : True when the tool gave it
    shift : logits by which its conditions made a clean answer likelier, negative on stage
    tool : what the tool said of a try that the player answered, None when it said nothing
    """

    day: int
    minutes: float
    cold: bool
    yes: bool | None
    heard: bool
    shift: float = 0.0
    tool: bool | None = None


History = tuple[HistoryMark, ...]


def histories(state: State, until: date) -> dict[str, History]:
    """Return the history of every step that has one, days up to and including `until`."""
    told = {i: history(state.past(i), until) for i in state.steps if i in state.pasts}
    return {i: marks for i, marks in told.items() if marks}


def history(past: StepHistory, until: date) -> History:
    """Return one step's history, days up to and including `until`."""
    works = [work for work in past.works if work.day <= until]
    tries = [attempt for attempt in past.tries if attempt.day <= until]
    stage = [said for said in past.stage if said.day <= until]
    return _merged(works, [*tries, *stage])


def _merged(works: Iterable[Work], tries: Iterable[Try | StageTry]) -> History:
    """Join both in time; the minutes of a slot are cut at the tries within it."""
    left = sorted(tries, key=lambda t: (t.at, _id(t)))
    marks: list[HistoryMark] = []
    for work in sorted(works, key=lambda w: (w.at, w.minutes)):
        while left and left[0].at < _start(work):
            marks.append(_try_mark(left.pop(0), TRY_MIN))
        played = 0.0
        while left and left[0].at <= work.at:
            so_far = max(work.minutes - _minutes(work.at, left[0].at), played)
            marks.append(_try_mark(left.pop(0), so_far - played))
            played = so_far
        if work.minutes > played:
            day = work.day.toordinal()
            marks.append(HistoryMark(day, work.minutes - played, False, None, False))
    marks.extend(_try_mark(attempt, TRY_MIN) for attempt in left)
    return tuple(marks)


def _start(work: Work) -> datetime:
    return work.at.fromtimestamp(work.at.timestamp() - 60.0 * work.minutes, work.at.tzinfo)


def _minutes(end: datetime, at: datetime) -> float:
    return (end - at).total_seconds() / 60.0


def _id(attempt: Try | StageTry) -> str:
    return attempt.run_id if isinstance(attempt, StageTry) else attempt.id


def _try_mark(attempt: Try | StageTry, minutes: float) -> HistoryMark:
    if isinstance(attempt, StageTry):
        day, shift = attempt.day.toordinal(), SHIFTS[attempt.kind]
        return HistoryMark(day, minutes, cold=True, yes=attempt.clean, heard=False, shift=shift)
    return HistoryMark(
        day=attempt.day.toordinal(),
        minutes=minutes,
        cold=attempt.cold,
        yes=_known(attempt.answer),
        heard=attempt.judge is Judge.TOOL,
        tool=None if attempt.judge is Judge.TOOL else _known(attempt.heard),
    )


def _known(answer: Answer | None) -> bool | None:
    return None if answer in (None, Answer.CANNOT_TELL) else answer is Answer.YES
