"""The rules of the table: those of thumb, and the planner. None reads the hidden truth."""

from collections.abc import Sequence

import numpy as np
from thumb import SLOT, expanding, filled, first_yes, one_topic, rotation, triage, triage_of_four
from world import Rule, Slot, World

from coldtake.domain import events as ev
from coldtake.learning.posterior import beliefs
from coldtake.planning.day.composition.choice import DayChoice, TopicLimits
from coldtake.planning.day.composition.options import Limits, free_options
from coldtake.planning.value.lookahead import day_values
from coldtake.planning.value.step_arrays import (
    ThinnedParticles,
    chances,
    moved,
    steps_ahead,
    thinned,
)
from coldtake.planning.value.values import StepValue

UNLIMITED = 60


def greedy(world: World) -> list[Slot]:
    """What eight minutes add to tomorrow's chance of a clean cold take, the most first."""
    b = beliefs(world.state, world.day)
    steps = steps_ahead(world.state, world.day, b)
    thin = thinned(b, steps.rows)
    gain = _soon(thin, SLOT) - chances(thin, 1.0).mean(axis=1)
    gain = np.where(steps.available, gain * steps.weight, -1.0)
    order = np.argsort(-gain, kind="stable")
    return filled([steps.ids[i] for i in order], float(world.scenario.minutes))


def _soon(thin: ThinnedParticles, minutes: float) -> np.ndarray:
    skill, half_life = moved(thin, 0.0, minutes)
    rested = np.zeros_like(thin.gap)
    after = ThinnedParticles(skill, half_life, thin.rate, thin.shape, thin.span, rested)
    return np.asarray(chances(after, 1.0).mean(axis=1))


def composed(values: Sequence[StepValue], minutes: int, most: int = 4) -> list[Slot]:
    """The exact choice of planning.choice; cold takes first."""
    topics = list(dict.fromkeys(v.topic_id for v in values))
    rows = [[i for i, v in enumerate(values) if v.topic_id == t] for t in topics]
    due = [any(values[i].due for i in group) for group in rows]
    table = free_options(values, Limits(least=4, most=12, cold=2, tightness=0.8))
    choice = DayChoice(table, rows, due, TopicLimits(min(2, most), most), minutes).choose(minutes)
    picks = choice.picks if choice else ()
    colds = [Slot(values[p.row].step_id, 0.0, cold=True) for p in picks if p.cold]
    return colds + [Slot(values[p.row].step_id, float(p.work_min)) for p in picks if p.work_min]


def planner(world: World) -> list[Slot]:
    """As the product plans by itself: at most four topics a session."""
    values = day_values(world.state, world.day, slot_most=24)
    return composed(values, world.scenario.minutes)


def planner_free(world: World) -> list[Slot]:
    """The planner without a limit of topics, like the rules beside it."""
    if "topics_most" not in world.state.settings:
        world.put(ev.SettingChosen(name="topics_most", value="8"))  # the most that can be set
    values = day_values(world.state, world.day, slot_most=24)
    return composed(values, world.scenario.minutes, UNLIMITED)


RULES: dict[str, Rule] = {
    "one topic until done": one_topic,
    "fixed expanding intervals": expanding,
    "four topics, leave at first yes": first_yes,
    "equal rotation": rotation,
    "triage, longest untouched first": triage,
    "triage, four topics a session": triage_of_four,
    "greedy by marginal gain": greedy,
    "planner, four topics a session": planner,
    "planner, log only": planner_free,
}
