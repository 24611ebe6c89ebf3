"""The product's own evening: plan_day by its usual settings, with all rules of a session."""

from datetime import time

from world import Rule, Slot, World

from coldtake.domain import events as ev
from coldtake.domain.plan import PlanRequest, SlotKind
from coldtake.planning.day.plan_day import plan_day

BREAK_MIN, PERIOD_MIN = 5, 30  # the usual settings


def product(world: World) -> list[Slot]:
    """Play tomorrow's plan as it is laid out; its breaks come on top of the minutes of playing.

    So it plays as long as the rules of thumb, which know no breaks.
    """
    breaks = (world.scenario.minutes - 1) // PERIOD_MIN
    return _planned(world, world.scenario.minutes + BREAK_MIN * breaks)


def with_breaks(world: World) -> list[Slot]:
    """The same with the breaks taken out of the minutes."""
    return _planned(world, world.scenario.minutes)


def _planned(world: World, minutes: int) -> list[Slot]:
    request = PlanRequest(day=world.day, starts_at=time(17), minutes=minutes, run_through=False)
    plan = plan_day(world.state, request)
    return [
        Slot(s.step_id, 0.0, cold=True)
        if s.kind is SlotKind.COLD
        else Slot(s.step_id, float(s.minutes))
        for period in plan.periods
        for s in period.slots
    ]


def _with(name: str, value: str) -> Rule:
    """The same with one setting changed."""

    def rule(world: World) -> list[Slot]:
        if name not in world.state.settings:
            world.put(ev.SettingChosen(name=name, value=value))
        return product(world)

    return rule


RULES: dict[str, Rule] = {
    "product": product,
    "product, breaks within": with_breaks,
    "product, eight topics": _with("topics_most", "8"),
}
