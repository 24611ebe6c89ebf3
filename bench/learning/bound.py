"""An upper bound on any rule's score for one player: a Lagrangian relaxation without forgetting.

    python bench/learning/bound.py SCENARIO LAW FIRST_SEED COUNT

Valid, and loose. Relaxed are: forgetting (nothing fades, and the first minutes of a step on a day
are worth no less than the later ones), the order of the steps, the limit of a day (only all
minutes up to a day bind), and that the days have one life in common (each day that is looked at
has the best of its own). What is left is one budget of minutes over steps that do not know each
other: for every price of a minute, sum of max(value - price x minutes) + price x budget is at
least the best (weak duality; J. T. Hawkins, "A Lagrangian decomposition approach to weakly
coupled dynamic optimization problems and its applications", MIT, 2003, from memory), and the
least of these is the bound.
"""

import json
import sys
from collections.abc import Callable
from datetime import timedelta

import numpy as np
from world import World, make

from coldtake.learning import simulated
from coldtake.learning.simulated import Law

MINUTES = np.concatenate([np.arange(0.0, 60.0, 0.25), np.arange(60.0, 600.0, 2.0)])


def budgets(world: World) -> tuple[list[float], float]:
    """Minutes that the player can play, on full days, up to each day looked at, and in all."""
    so_far, looked_at = 0.0, []
    for k in range(world.scenario.days):
        day = world.day + timedelta(days=k)
        so_far += world.scenario.minutes * world.player.comes(day)
        if day.toordinal() % 3 == 0:  # as in world.run
            looked_at.append(so_far)
    return looked_at, so_far


def values(world: World) -> np.ndarray:
    """Importance times the chance of a clean take after MINUTES, shape (steps, minutes).

    The chance at a number of minutes is that at the next larger one, so that a finer division of
    the minutes never gives more.
    """
    rows = []
    for step, weight in zip(world.state.steps.values(), world.weights(), strict=True):
        truth = world.player._truth(step)
        later = [*MINUTES[1:], 6000.0]
        reached = [simulated._reached(truth.worked + m, truth, world.player.law) for m in later]
        rows.append([weight * simulated._clean(skill, truth) for skill in reached])
    return np.array(rows)


def lagrangian(gain: np.ndarray, minutes: np.ndarray, most: float) -> float:
    """The least of the dual over prices; `gain` of shape (steps, minutes)."""
    dual = _dual_of(gain, minutes, most)
    prices = np.concatenate([[0.0], np.geomspace(1e-7, 1.0, 400)])
    return float(min(dual(p) for p in prices))


def _dual_of(gain: np.ndarray, minutes: np.ndarray, most: float) -> Callable[[float], float]:
    return lambda price: float((gain - price * minutes).max(axis=1).sum() + price * most)


def bound(name: str, seed: int, law: Law) -> float:
    """No rule can score more with this player in this scenario."""
    world = make(name, seed, law)
    gain, (along, whole) = values(world), budgets(world)
    over_time = float(np.mean([lagrangian(gain, MINUTES, most) for most in along]))
    return 0.7 * lagrangian(gain, MINUTES, whole) + 0.3 * over_time


def main() -> None:
    name, law, first, count = sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
    for seed in range(first, first + count):
        total = round(bound(name, seed, law), 5)
        row = {"scenario": name, "law": law, "seed": seed, "rule": "upper bound", "total": total}
        print(json.dumps({**row, "date": total, "time": total, "topics": 0.0, "cpu": 0.0}))


if __name__ == "__main__":
    main()
