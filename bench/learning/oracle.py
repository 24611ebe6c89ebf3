"""The same planner told the truth: a reference, no rule that anybody could follow.

`today` : the true chance of a clean cold take of every step, today and on its date with and without
minutes tomorrow, in place of the estimates. `whole` : the true minutes that each step takes too, in
place of the player's guess, so the set of topics is chosen knowing what nobody can know before a
step was played.
"""

from dataclasses import replace

import numpy as np
from rules import UNLIMITED, composed
from world import Rule, World

from coldtake.learning import simulated as sim
from coldtake.planning.value import lookahead
from coldtake.planning.value.priority_index import USUAL, IndexPolicy

ASKED_MIN = (0, 5, 8)  # minutes for which the truth is computed; what lies between is not asked


class TrueTable(lookahead._Table):
    """Values of a day from the hidden truth."""

    world: World

    def _now(self) -> np.ndarray:
        return self.world.chances(self.day)

    def _chance_after(self) -> np.ndarray:
        columns = [self._after(minutes) for minutes in ASKED_MIN]
        places = np.searchsorted(ASKED_MIN, np.arange(self.slot_most + 1), side="right") - 1
        return np.maximum.accumulate(np.stack(columns, axis=1)[:, places], axis=1)

    def _after(self, minutes: int) -> np.ndarray:
        found = []
        for step_id, left in zip(self.steps.ids, self.steps.left, strict=True):
            player = self.world.player
            truth = replace(player._truth(self.world.state.steps[step_id]))
            if minutes:
                sim._wake(truth, player.law, self.day)
                sim._work(truth, player.law, float(minutes))
            on = self.day.toordinal() + int(left)
            gap = on - truth.day if truth.day is not None else 0
            found.append(sim._clean(sim._skill(truth, player.law, float(gap)), truth))
        return np.array(found)


def oracle(*, whole: bool, reach: float = USUAL.reach) -> Rule:
    """Make the rule; reach : see turns.Course."""

    def rule(world: World):
        state, day = world.state, world.day
        per_day = lookahead.minutes_per_day(state, day)
        rng = lookahead.seeded(state, day)
        start = lookahead.begun(state, day, per_day, 1, rng)
        if whole:
            paces = [world.player._truth(state.steps[i]).pace for i in start.steps.ids]
            start = replace(start, need=np.array(paces))
        days = lookahead.days_ahead(state, day, per_day)
        table = type("Told", (TrueTable,), {"world": world})
        values = table(state, day, 24, start, IndexPolicy(reach, USUAL.met_share), days).values()
        return composed(values, world.scenario.minutes, UNLIMITED)

    return rule
