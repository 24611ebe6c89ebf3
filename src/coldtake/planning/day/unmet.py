"""What the player asked for and a finished plan does not keep, each said with its reason.

The last look before a plan is shown: whatever the solver did, a pinned slot stands at its place and
length, or a sentence says why not.
"""

from collections.abc import Collection
from datetime import datetime, timedelta

from coldtake.domain.history.state import State
from coldtake.domain.plan import Plan, Slot, Wish
from coldtake.planning.day.changes import places

_Placed = tuple[Slot, int, int, int]


def unmet(
    state: State, plan: Plan, said: Collection[int], *, before_min: int = 0
) -> dict[int, str]:
    """Return a sentence for each number of a wish that was not kept and is not `said` already.

    before_min : minutes of the session that pass before the plan's first slot
    """
    placed: dict[int | None, _Placed] = {at[0].wish: at for at in places(plan)}
    look = _Look(state, plan, plan.request.starts + timedelta(minutes=before_min))
    found: dict[int, str] = {}
    for number, wish in enumerate(plan.request.wishes):
        if wish.refused or number in said or wish.step_id not in state.steps:
            continue
        words = look.at(wish, placed.get(number))
        if words:
            found[number] = f"“{state.steps[wish.step_id].title}” {words}"
    return found


class _Look:
    def __init__(self, state: State, plan: Plan, start: datetime) -> None:
        self.state, self.plan, self.start = state, plan, start

    def at(self, wish: Wish, placed: _Placed | None) -> str:
        if placed is None:
            return "has no room beside the other slots that you added."
        slot, period, index, at_min = placed
        if wish.minutes is not None and slot.minutes != wish.minutes:
            return f"has {slot.minutes} min, not {wish.minutes} min."
        if wish.period is None:
            return ""
        if wish.at_min is not None:
            return "" if at_min == wish.at_min else self._off(at_min, wish.at_min)
        if (period, index) == (wish.period, wish.index if wish.index is not None else index):
            return ""
        return self._elsewhere(wish, period, index)

    def _off(self, at_min: int, wished_min: int) -> str:
        """Say that a slot begins at another minute."""
        begins, wished = (
            f"{self.start + timedelta(minutes=m):%H:%M}" for m in (at_min, wished_min)
        )
        if at_min < wished_min:
            return f"begins at {begins}, not at {wished}: nothing fits into the time between."
        return f"begins at {begins}, not at {wished}: the slots before it are longer now."

    def _elsewhere(self, wish: Wish, period: int, index: int) -> str:
        """Say that a slot stands at another place of the order."""
        where = f"is slot {index + 1} of period {period + 1}"
        if wish.period is None or wish.period >= len(self.plan.periods):
            return f"{where}: the plan has {len(self.plan.periods)} now."
        row = self.plan.periods[wish.period].slots
        if wish.index is None or wish.index >= len(row):
            return f"{where}: period {wish.period + 1} has {len(row)} now."
        there = row[wish.index]
        step = self.state.steps.get(there.step_id)
        name = step.title if step else "another step"
        return f"{where}: “{name}” is pinned there."
