"""Rules of thumb: what people do. None reads the hidden truth, and none needs the planner."""

from collections.abc import Sequence

from world import Slot, World

from coldtake.domain.topic import Step, StepPhase

DONE = (StepPhase.MET, StepPhase.HELD)
SLOT = 8.0


def _met(world: World) -> dict[str, bool]:
    """Once met stays met for these rules (nobody takes a step back by himself)."""
    phases = world.state.phases()
    return {i: p in (*DONE, StepPhase.SLIPPED) for i, p in phases.items()}


def _open_step(world: World, met: dict[str, bool], topic: str) -> Step | None:
    return next((s for s in world.state.topic_steps(topic) if not met[s.id]), None)


def _ranked(world: World) -> list[str]:
    return sorted(world.state.topics, key=lambda t: -world.state.topics[t].importance)


def filled(ids: Sequence[str], minutes: float) -> list[Slot]:
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
    return slots + filled(fresh[:4], minutes)


def first_yes(world: World) -> list[Slot]:
    """Four topics at a time, each step left at its first yes."""
    met = _met(world)
    open_ones = [s.id for t in _ranked(world) if (s := _open_step(world, met, t))][:4]
    return filled(sorted(open_ones, key=_last_touched(world)), float(world.scenario.minutes))


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
    return filled(sorted(ids, key=_last_touched(world)), float(world.scenario.minutes))


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
    return filled(_triaged(world), float(world.scenario.minutes))


def triage_of_four(world: World) -> list[Slot]:
    """Triage with at most four topics in a session, like the plan's usual setting."""
    ids = _triaged(world)
    topic = {i: world.state.steps[i].topic_id for i in ids}
    four = list(dict.fromkeys(topic[i] for i in ids))[:4]
    return filled([i for i in ids if topic[i] in four], float(world.scenario.minutes))
