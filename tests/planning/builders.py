"""States and step values for the tests of a day's plan; invented material."""

import random
from datetime import UTC, date, datetime, time, timedelta
from functools import cache

from coldtake.domain.criterion import Criterion, NotesTest, TempoTest
from coldtake.domain.history.state import State
from coldtake.domain.plan import PlanRequest
from coldtake.domain.take import Answer, Judge, Try, Work
from coldtake.domain.topic import Exercise, Place, Step, Topic
from coldtake.planning.value.values import StepValue

DAY = date(2026, 1, 12)
MARK = Criterion(tests=(NotesTest(), TempoTest(mark=96.0)))


def request(minutes=60, *wishes, day=DAY):
    return PlanRequest(day=day, starts_at=time(17), minutes=minutes, wishes=wishes)


def state_of(sizes, *, settings=None, needs=None, importance=3, performance_on=None):
    """A state with one current topic per entry of `sizes`, having so many steps each."""
    state = State(settings=dict(settings or {}))
    for t, size in enumerate(sizes):
        topic = Topic(
            id=f"t{t}",
            title=f"Topic {t}",
            place=Place.CURRENT,
            importance=importance,
            performance_on=performance_on,
        )
        state.topics[topic.id] = topic
        ids = [f"t{t}s{s}" for s in range(size)]
        state.order[topic.id] = tuple(ids)
        for step_id in ids:
            state.steps[step_id] = Step(
                id=step_id,
                topic_id=topic.id,
                title=f"Step {step_id}",
                criterion=MARK,
                exercise=Exercise(words=f"bars of {step_id}"),
                needs=tuple((needs or {}).get(step_id, ())),
            )
    return state


def concave(best, half, most=24):
    """Points of 0..most minutes that rise to `best`, half of it after `half` minutes."""
    return tuple(best * (1.0 - 0.5 ** (m / half)) for m in range(most + 1))


def value(step_id, best=3.0, half=6.0, *, cold=0.0, available=True, due=False, need=40.0, most=24):
    return StepValue(
        step_id=step_id,
        topic_id=step_id.split("s")[0],
        work_value=concave(best, half, most) if available else (0.0,) * (most + 1),
        cold_value=cold if available else 0.0,
        available=available,
        due=due,
        chance_without=0.4,
        chance_with=0.4 + 0.02 * best,
        need_left_min=need,
        chances=tuple(0.4 + 0.02 * points for points in concave(best, half, most)),
    )


def random_values(state, seed, *, due_share=0.0, cold_share=0.4, open_share=0.85):
    """Seeded values for every step of a state; topics are due or not as a whole."""
    rng = random.Random(seed)
    due = {t: rng.random() < due_share for t in state.topics}
    return tuple(
        value(
            step.id,
            best=rng.uniform(0.2, 8.0),
            half=rng.uniform(2.0, 12.0),
            cold=rng.uniform(0.1, 2.0) if rng.random() < cold_share else 0.0,
            available=rng.random() < open_share,
            due=due[step.topic_id],
            need=rng.uniform(0.0, 60.0),
        )
        for step in state.steps.values()
    )


@cache
def ready(sizes=(5, 5, 5, 5, 5), seed=1):
    """A state with its values, for tests that only look."""
    state = state_of(sizes)
    return state, random_values(state, seed)


def try_on(step_id, days_ago, answer=Answer.YES, bpm=None):
    day = DAY - timedelta(days=days_ago)
    at = datetime.combine(day, time(17), tzinfo=UTC)
    return Try(
        id=f"{step_id}-{days_ago}",
        step_id=step_id,
        at=at,
        day=day,
        answer=answer,
        judge=Judge.PLAYER,
        cold=True,
        tempo_bpm=bpm,
    )


def work_on(step_id, days_ago, minutes):
    day = DAY - timedelta(days=days_ago)
    at = datetime.combine(day, time(17), tzinfo=UTC)
    return Work(step_id=step_id, at=at, day=day, minutes=minutes)
