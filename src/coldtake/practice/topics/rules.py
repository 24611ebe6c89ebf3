"""Rules of topics and steps that need the rest of the pile to be checked."""

from collections.abc import Iterable
from datetime import date

from coldtake.domain import instants
from coldtake.domain.criterion import ConditionsTest, Criterion, OwnQuestionTest
from coldtake.domain.history.state import State
from coldtake.domain.topic import Step, StepPhase, Topic
from coldtake.errors import RuleError
from coldtake.practice import lookup


def check_date(topic: Topic, known: Topic | None, today: date) -> None:
    """Raise RuleError when a new performance date lies in the past."""
    day = topic.performance_on
    if day is not None and (known is None or known.performance_on != day):
        instants.check_date(day, today, topic.title)
    if day is None or day >= today or (known and known.performance_on == day):
        return
    raise RuleError(
        f"The performance date {day.isoformat()} is past; today is {today.isoformat()}.",
        where=topic.title,
        remedy="Choose today or a later day, or leave it empty.",
    )


def check_step(state: State, step: Step) -> None:
    """Raise RuleError when a step breaks a rule of its topic's map."""
    lookup.topic(state, step.topic_id)
    known = state.steps.get(step.id)
    if known and known.topic_id != step.topic_id:
        raise RuleError(
            "A step cannot be moved to another topic.",
            where=step.title,
            remedy="Add it to the other topic as a new step.",
        )
    _check_criterion(step)
    _check_needs(state, step)


def takes_no_place(state: State, topic_id: str) -> bool:
    """Say whether a topic is kept up, or would be: the limit is not for it."""
    steps = state.topic_steps(topic_id)
    return bool(steps) and all_met(state, steps)


def all_met(state: State, steps: Iterable[Step]) -> bool:
    """Say whether every step is met or held."""
    phases = state.phases(step.id for step in steps)
    return all(phase in (StepPhase.MET, StepPhase.HELD) for phase in phases.values())


def _check_criterion(step: Step) -> None:
    times = step.criterion.times
    if times.among is not None and times.among < times.wanted:
        raise RuleError(
            f"{times.wanted} of {times.among} times is not possible.",
            where=step.title,
            remedy=f"Ask for at most {times.among} of {times.among}.",
        )
    if _asks_nothing(step.criterion):
        raise RuleError(
            "The question is empty.",
            where=step.title,
            remedy="Enter a question that only you can answer.",
        )


def _asks_nothing(criterion: Criterion) -> bool:
    for test in criterion.tests:
        if isinstance(test, OwnQuestionTest) and not test.question.strip(" ?."):
            return True
        if isinstance(test, ConditionsTest) and not any(w.strip() for w in test.stated):
            return True
    return False


def _check_needs(state: State, step: Step) -> None:
    for need in step.needs:
        if need == step.id:
            raise RuleError(
                "A step cannot need itself.",
                where=step.title,
                remedy="Remove it from the steps that must be met first.",
            )
        other = state.steps.get(need)
        if other is None:
            raise RuleError(
                f"It needs a step that does not exist ({need}).",
                where=step.title,
                remedy="Choose steps of this topic.",
            )
        if other.topic_id != step.topic_id:
            raise RuleError(
                f"It needs “{other.title}”, a step of another topic.",
                where=step.title,
                remedy="Choose steps of this topic.",
            )
    circle = _circle(state, step)
    if circle:
        raise RuleError(
            f"These steps would wait for each other: {' → '.join(circle)}.",
            where=step.title,
            remedy="Remove one of these needs.",
        )


def _circle(state: State, step: Step) -> tuple[str, ...]:
    """Return the titles along a chain of needs that leads back to the step, or nothing."""
    steps = {**state.steps, step.id: step}
    paths: list[tuple[str, ...]] = [(step.id,)]
    seen: set[str] = set()
    while paths:
        path = paths.pop()
        for need in steps[path[-1]].needs if path[-1] in steps else ():
            if need == step.id:
                return tuple(steps[i].title for i in (*path, need))
            if need not in seen:
                seen.add(need)
                paths.append((*path, need))
    return ()
