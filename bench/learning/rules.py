"""The rules of the table. All but the planner are what people do; none reads the hidden truth."""

from collections.abc import Sequence

import numpy as np
from world import Rule, Slot, World

from coldtake.domain import events as ev
from coldtake.domain.topic import Step, StepPhase
from coldtake.learning.beliefs import beliefs
from coldtake.planning.choice import DayChoice, TopicLimits
from coldtake.planning.lookahead import day_values
from coldtake.planning.options import Limits, free_options
from coldtake.planning.prospect import Thin, chances, moved, steps_ahead, thinned
from coldtake.planning.values import StepValue

DONE = (StepPhase.MET, StepPhase.HELD)
SLOT = 8.0
UNLIMITED = 60


def _met(world: World) -> dict[str, bool]:
    """Once met stays met for these rules (nobody takes a step back by himself)."""
    phases = world.state.phases()
    return {i: p in (*DONE, StepPhase.SLIPPED) for i, p in phases.items()}


def _open_step(world: World, met: dict[str, bool], topic: str) -> Step | None:
    return next((s for s in world.state.topic_steps(topic) if not met[s.id]), None)


def _ranked(world: World) -> list[str]:
    return sorted(world.state.topics, key=lambda t: -world.state.topics[t].importance)


def _fill(ids: Sequence[str], minutes: float) -> list[Slot]:
    """Slots of eight minutes for the first that fit; a short list is gone through again."""
    if not ids:
        return []
    count = int(minutes // SLOT)
    slots = [Slot(i, SLOT) for i in ids[:count]]
    rest = minutes - SLOT * len(slots)
    if rest >= 4.0:
        more = rest / len(slots) if len(slots) else rest
        slots = [Slot(s.step_id, s.work + min(more, SLOT)) for s in slots] or [Slot(ids[0], rest)]
    return slots


def one_topic(world: World) -> list[Slot]:
    met = _met(world)
    for topic in _ranked(world):
        step = _open_step(world, met, topic)
        if step:
            return [Slot(step.id, float(world.scenario.minutes))]
    return []


def expanding(world: World) -> list[Slot]:
    """Reviews 1, 3, 7, 14, 30, 60 days after the last clean one; new work in the rest."""
    gaps = (1, 3, 7, 14, 30, 60)
    met, minutes = _met(world), float(world.scenario.minutes)
    slots: list[Slot] = []
    for step_id in (i for i, m in met.items() if m):
        tries = world.state.step_tries(step_id)
        clean, last = 0, tries[-1].day
        for t in tries:
            if t.cold:
                clean = clean + 1 if t.answer == "yes" else 0
        if (world.day - last).days >= gaps[min(clean, 5)] and minutes >= 5.0:
            slots.append(Slot(step_id, 3.0, cold=True))
            minutes -= 5.0
    fresh = [s.id for t in _ranked(world) if (s := _open_step(world, met, t))]
    return slots + _fill(fresh[:4], minutes)


def first_yes(world: World) -> list[Slot]:
    """Four topics at a time, each step left at its first yes."""
    met = _met(world)
    open_ones = [s.id for t in _ranked(world) if (s := _open_step(world, met, t))][:4]
    return _fill(sorted(open_ones, key=_last_touched(world)), float(world.scenario.minutes))


def _last_touched(world: World):  # type: ignore[no-untyped-def]
    last: dict[str, int] = {}
    for work in world.state.works:
        last[work.step_id] = work.day.toordinal()
    return lambda i: last.get(i, 0)


def _free_steps(world: World, met: dict[str, bool], topics: Sequence[str]) -> list[str]:
    return [
        s.id for t in topics for s in world.state.topic_steps(t) if all(met[n] for n in s.needs)
    ]


def rotation(world: World) -> list[Slot]:
    ids = _free_steps(world, _met(world), tuple(world.state.topics))
    return _fill(sorted(ids, key=_last_touched(world)), float(world.scenario.minutes))


def _triaged(world: World) -> list[str]:
    room = world.scenario.minutes * world.scenario.days * 0.8
    taken: list[str] = []

    def worth(topic: str) -> float:
        need = sum(s.need_min for s in world.state.topic_steps(topic))
        steps = len(world.state.topic_steps(topic))
        return -world.state.topics[topic].importance * steps / need

    for topic in sorted(world.state.topics, key=worth):
        need = 1.6 * sum(s.need_min for s in world.state.topic_steps(topic))
        if need <= room:
            taken.append(topic)
            room -= need
    ids = _free_steps(world, _met(world), taken)
    return sorted(ids, key=_last_touched(world))


def triage(world: World) -> list[Slot]:
    """Only the topics that fit into the days (1.6 times the need), longest untouched first."""
    return _fill(_triaged(world), float(world.scenario.minutes))


def triage_of_four(world: World) -> list[Slot]:
    """Triage with at most four topics in a session, like the plan's usual setting."""
    ids = _triaged(world)
    topic = {i: world.state.steps[i].topic_id for i in ids}
    four = list(dict.fromkeys(topic[i] for i in ids))[:4]
    return _fill([i for i in ids if topic[i] in four], float(world.scenario.minutes))


def greedy(world: World) -> list[Slot]:
    """What eight minutes add to tomorrow's chance of a clean cold take, the most first."""
    b = beliefs(world.state, world.day)
    steps = steps_ahead(world.state, world.day, b)
    thin = thinned(b, steps.rows)
    gain = _soon(thin, SLOT) - chances(thin, 1.0).mean(axis=1)
    gain = np.where(steps.available, gain * steps.weight, -1.0)
    order = np.argsort(-gain, kind="stable")
    return _fill([steps.ids[i] for i in order], float(world.scenario.minutes))


def _soon(thin: Thin, minutes: float) -> np.ndarray:
    skill, half_life = moved(thin, 0.0, minutes)
    rested = np.zeros_like(thin.gap)
    after = Thin(skill, half_life, thin.rate, thin.shape, thin.span, rested)
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
