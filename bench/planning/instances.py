"""Seeded days to plan: invented topics of about eight steps with worths of unlike shapes.

Every step has been played before (a first slot would have its own shortest length).
"""

import random
from datetime import UTC, date, datetime, time

from coldtake.domain.criterion import Criterion, NotesTest
from coldtake.domain.history.state import State
from coldtake.domain.plan import PlanRequest
from coldtake.domain.take import Work
from coldtake.domain.topic import Place, Step, Topic
from coldtake.planning.value.values import StepValue

DAY = date(2026, 1, 12)
PER_TOPIC = 8


def state_of(steps):
    """A state with so many steps in current topics of eight."""
    state = State()
    for n in range(steps):
        topic_id, step_id = f"t{n // PER_TOPIC}", f"s{n}"
        topic = Topic(id=topic_id, title=f"Topic {topic_id}", place=Place.CURRENT)
        state.topics.setdefault(topic_id, topic)
        state.order[topic_id] = (*state.order.get(topic_id, ()), step_id)
        criterion = Criterion(tests=(NotesTest(),))
        state.steps[step_id] = Step(
            id=step_id, topic_id=topic_id, title=step_id, criterion=criterion
        )
        at = datetime(2026, 1, 10, 17, tzinfo=UTC)
        state.keep_work(Work(step_id=step_id, at=at, day=at.date(), minutes=5.0), step_id)
    return state


def worth(rng, most=24):
    """Points of 0..most minutes: rising at once, or only after some minutes (not concave)."""
    best, half, wait = rng.uniform(0.2, 8.0), rng.uniform(2.0, 12.0), rng.choice([0, 0, 3, 6])
    return tuple(best * (1.0 - 0.5 ** (max(m - wait, 0) / half)) for m in range(most + 1))


def values_of(state, seed, *, single=False):
    """Values of every step; single : needs so small that no step may have two slots."""
    rng = random.Random(seed)
    return tuple(
        StepValue(
            step_id=step.id,
            topic_id=step.topic_id,
            work_value=worth(rng),
            cold_value=rng.uniform(0.1, 2.0) if rng.random() < 0.3 else 0.0,
            available=rng.random() < 0.8,
            chance_without=rng.uniform(0.1, 0.9),
            chance_with=0.9,
            need_left_min=rng.uniform(3.0, 15.0 if single else 60.0),
        )
        for step in state.steps.values()
    )


def request(minutes):
    """A request for so many minutes."""
    return PlanRequest(day=DAY, starts_at=time(17), minutes=minutes)
