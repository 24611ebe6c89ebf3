"""How right are the estimates and the outlook? python bench/learning/predictions.py LAW FIRST COUNT

Held-back tries: every cold take's chance is told before its answer is known, from the log so far;
against the constant (the mean of all answers), the last answer, and the simulator's true chance of
that answer. Outlook: made half-way, 80 % interval of the clean steps of each topic with a date
against the number that one cold try each then brings.
"""

import sys
from datetime import timedelta

import numpy as np
from rules import planner
from world import World, make, run

from coldtake.domain.take import Judge
from coldtake.learning.beliefs import beliefs, cold_chances
from coldtake.learning.filter import yes_chance
from coldtake.planning.outlook import outlook


def auc(told: np.ndarray, yes: np.ndarray) -> float:
    order = np.argsort(np.argsort(told, kind="stable"), kind="stable") + 1
    count = yes.sum()
    return float((order[yes].sum() - count * (count + 1) / 2) / (count * (~yes).sum()))


class Watch:
    def __init__(self) -> None:
        self.rows: list[tuple[float, float, float, bool]] = []
        self.inside: list[bool] = []
        self.errors: list[float] = []
        self.before: dict[str, tuple[float, float]] = {}
        self.last: dict[str, bool] = {}
        self.seen: set[str] = set()
        self.told: dict[str, object] = {}

    def __call__(self, world: World) -> None:
        self.settle(world)
        b = beliefs(world.state, world.day)
        means = (cold_chances(b) * b.weight).sum(axis=1)
        self.before = {
            i: (float(m), world.player.clean_chance(world.state.steps[i], world.day))
            for i, m in zip(b.step_ids, means, strict=True)
        }
        if (world.day.toordinal() - world.last.toordinal()) == -(world.scenario.days // 2):
            self.told = {o.topic_id: o for o in outlook(world.state, world.day - timedelta(days=1))}

    def settle(self, world: World) -> None:
        for t in world.state.tries.values():
            if t.id in self.seen:
                continue
            self.seen.add(t.id)
            if t.cold and t.step_id in self.last and t.step_id in self.before:
                model, true = self.before[t.step_id]
                heard = t.judge is Judge.TOOL
                wrong = (0.03, 0.03) if heard else (world.player.false_yes, world.player.false_no)
                truth = wrong[0] + (1 - wrong[0] - wrong[1]) * true
                said = float(yes_chance(np.array(model), heard=heard))
                self.rows.append((said, truth, float(self.last[t.step_id]), t.answer == "yes"))
            self.last[t.step_id] = t.answer == "yes"

    def close(self, world: World) -> None:
        rng = np.random.default_rng(world.player.seed)
        chances = dict(zip(world.state.steps, world.chances(world.last), strict=True))
        for told in self.told.values():
            clean = sum(rng.random() < chances[s.step_id] for s in told.steps)
            expected = sum(chances[s.step_id] for s in told.steps)
            self.inside.append(told.clean_steps.low <= clean <= told.clean_steps.high)
            self.errors.append(abs(sum(s.chance.mid for s in told.steps) - expected))


def main() -> None:
    law, first, count = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    rows, inside, errors = [], [], []
    for seed in range(first, first + count):
        world, watch = make("exam", seed, law), Watch()
        run(world, planner, watch)
        watch.close(world)
        rows += watch.rows
        inside += watch.inside
        errors += watch.errors
    model, truth, last, yes = (np.array(c) for c in zip(*rows, strict=True))
    yes = yes.astype(bool)
    base = np.full(len(yes), yes.mean())
    print(f"{law}: {count} players, {len(yes)} cold takes, {yes.mean():.3f} yes")
    for name, told in (
        ("constant", base),
        ("last answer", last),
        ("model", model),
        ("true", truth),
    ):
        brier = float(np.mean((told - yes) ** 2))
        print(f"  {name:12} Brier {brier:.4f}  AUC {auc(told, yes):.3f}")
    gain = np.mean((base - yes) ** 2) - np.array([np.mean((t - yes) ** 2) for t in (model, truth)])
    print(f"  share of what can be predicted (Brier): {gain[0] / gain[1]:.3f}")
    print(
        f"  outlook half-way: {len(inside)} topics, covered {np.mean(inside):.3f}, "
        f"mean error {np.mean(errors):.2f} steps"
    )


if __name__ == "__main__":
    main()
