"""How a step's phase follows from its tries, and a topic's standing from its steps."""

from collections.abc import Iterable, Iterator
from enum import StrEnum

import msgspec

from coldtake.domain.criterion import Criterion, Times, passed
from coldtake.domain.take import Answer, Try
from coldtake.domain.topic import Place, StepPhase

HELD_COLD_DAYS = 2  # clean cold on this many later days, at non-shrinking distance, is "held"


class Standing(StrEnum):
    """Where a topic stands: the player's place, or `kept up` when nothing is left to meet."""

    WAITING = "waiting"
    CURRENT = "current"
    KEPT_UP = "kept_up"
    LAID_ASIDE = "laid_aside"


class _Walk(msgspec.Struct):
    """Where the walk through the tries has got to."""

    phase: StepPhase = StepPhase.OPEN
    answers: tuple[bool, ...] = ()
    clean_days: tuple[int, ...] = ()


def _holds(clean_days: tuple[int, ...]) -> bool:
    """Say whether the cold passes after the day it was met lie at non-shrinking distances."""
    if len(clean_days) <= HELD_COLD_DAYS:
        return False
    last, before, earlier = clean_days[-1], clean_days[-2], clean_days[-3]
    return last - before >= before - earlier


def _after_met(walk: _Walk, attempt: Try) -> None:
    day = attempt.day.toordinal()
    if not attempt.cold or day <= walk.clean_days[-1]:
        return
    if attempt.answer is Answer.NO:
        if attempt.run_id is not None:  # harder than the criterion asks: the chance falls, no more
            return
        walk.phase, walk.answers, walk.clean_days = StepPhase.SLIPPED, (), ()
        return
    walk.clean_days = (*walk.clean_days, day)
    if _holds(walk.clean_days):
        walk.phase = StepPhase.HELD


def _before_met(walk: _Walk, attempt: Try, times: Times) -> None:
    walk.answers = (*walk.answers, attempt.answer is Answer.YES)
    if passed(times, walk.answers):
        walk.phase, walk.clean_days = StepPhase.MET, (attempt.day.toordinal(),)
    elif walk.phase is StepPhase.OPEN:
        walk.phase = StepPhase.IN_WORK


def _walked(criterion: Criterion, tries: Iterable[Try]) -> Iterator[tuple[Try, StepPhase]]:
    walk = _Walk()
    for attempt in tries:
        if attempt.answer is Answer.CANNOT_TELL:
            continue
        if walk.phase in (StepPhase.MET, StepPhase.HELD):
            _after_met(walk, attempt)
        else:
            _before_met(walk, attempt, criterion.times)
        yield attempt, walk.phase


def step_phase(criterion: Criterion, tries: tuple[Try, ...], worked: bool = False) -> StepPhase:
    """Walk the tries, oldest first, to the phase that the step is in now.

    A "cannot tell" changes nothing. Met: the criterion came out as often as it asks. Held: clean
    cold on two later days at growing (not shrinking) distance. Slipped: a later cold take said no.
    A run of the whole piece counts as a cold try, but what broke in it lets no met step slip.
    """
    phases = [StepPhase.OPEN, *(phase for _attempt, phase in _walked(criterion, tries))]
    phase = phases[-1]
    if phase is StepPhase.OPEN and (worked or tries):
        return StepPhase.IN_WORK
    return phase


def phase_changes(
    criterion: Criterion, tries: tuple[Try, ...]
) -> tuple[tuple[Try, StepPhase], ...]:
    """Return each try that took the step into another phase, with that phase, oldest first."""
    changes = []
    before = StepPhase.OPEN
    for attempt, phase in _walked(criterion, tries):
        if phase is not before:
            changes.append((attempt, phase))
        before = phase
    return tuple(changes)


def standing(place: Place, phases: tuple[StepPhase, ...]) -> Standing:
    """Say where a topic stands; a current topic with every step met or held is kept up."""
    if place is Place.CURRENT and phases:
        done = all(p in (StepPhase.MET, StepPhase.HELD) for p in phases)
        return Standing.KEPT_UP if done else Standing.CURRENT
    return Standing(place.value)
