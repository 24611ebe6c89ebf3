"""How right are the estimates? python bench/learning/predictions.py SCENARIO LAW FIRST COUNT

Held-back tries: the chance of every cold take is told on its morning from the log so far (the
planner chose what to play), for steps answered before. Against the constant (the mean of all
answers), the last answer, the simulator's true chance of that answer, and the most that a log can
tell (observer.py). Intervals of 95 %: players drawn anew 500 times (cluster bootstrap).
"""

import sys
from dataclasses import dataclass, field

import numpy as np
from observer import Population, observed
from rules import planner
from world import World, make, run

from coldtake.domain.take import Judge
from coldtake.learning.filter import PLAYER_ERRORS, try_chance, yes_chance
from coldtake.learning.memory_law import FLOOR
from coldtake.learning.posterior import Posterior, beliefs, cold_chances

WHO = ("constant", "last answer", "model", "observer", "truth")


def auc(told: np.ndarray, yes: np.ndarray) -> float:
    """Chance that a yes was told the higher chance; ties count half."""
    ordered = np.sort(told)
    rank = (np.searchsorted(ordered, told) + np.searchsorted(ordered, told, side="right") + 1) / 2.0
    count = yes.sum()
    return float((rank[yes].sum() - count * (count + 1) / 2) / (count * (~yes).sum()))


@dataclass
class Watch:
    """Tells on each morning, and settles once the day's answers are in."""

    rows: list[tuple[float, float, float, float, bool]] = field(default_factory=list)
    keys: list[tuple[int, str]] = field(default_factory=list)
    told: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    last: dict[str, bool] = field(default_factory=dict)
    settled: int = 0

    def __call__(self, world: World) -> None:
        self.settle(world)
        b = beliefs(world.state, world.day)
        own, heard = _yes_told(b)
        self.told = {
            step_id: (own[i], heard[i], world.player.clean_chance(step, world.day))
            for i, (step_id, step) in enumerate(world.state.steps.items())
        }

    def settle(self, world: World) -> None:
        tries = list(world.state.tries.values())
        for t in tries[self.settled :]:
            yes = t.answer == "yes"
            if t.cold and t.step_id in self.last:
                own, heard, clean = self.told[t.step_id]
                by_tool = t.judge is Judge.TOOL
                errors = (
                    (0.03, 0.03) if by_tool else (world.player.false_yes, world.player.false_no)
                )
                true = errors[0] + (1.0 - sum(errors)) * clean
                last = float(self.last[t.step_id])
                self.rows.append((last, heard if by_tool else own, np.nan, true, yes))
                self.keys.append((t.day.toordinal(), t.step_id))
            self.last[t.step_id] = yes
        self.settled = len(tries)


def _yes_told(b: Posterior) -> tuple[np.ndarray, np.ndarray]:
    """Chance of a yes by the player and by the tool, each (S,), the day's form unknown."""
    chance = np.clip(cold_chances(b), 1e-9, 1.0 - 1e-9)
    skill = (np.log(chance / (1.0 - chance)) - FLOOR) / b.cloud.span
    clean = try_chance(skill, b.cloud.span, warm=False)
    own = b.cloud.ear + (1.0 - b.cloud.ear - PLAYER_ERRORS[1]) * clean
    heard = yes_chance(clean, heard=True)
    return (own * b.weight).sum(axis=1), (heard * b.weight).sum(axis=1)


def player_rows(scenario: str, law: str, seed: int, people: Population) -> np.ndarray:
    """One player's held-back takes: last answer, model, observer, truth, yes (T, 5)."""
    world, watch = make(scenario, seed, law), Watch()
    run(world, planner, watch)
    watch.settle(world)
    seen = observed(world.state, world.player, people)
    rows = np.array(watch.rows, dtype=float)
    rows[:, 2] = [seen[key] for key in watch.keys]
    return rows


def shares(players: list[np.ndarray]) -> dict[str, float]:
    """What of the way from the constant to the truth, and to the observer, the model goes."""
    rows = np.concatenate(players)
    yes, truth = rows[:, 4], rows[:, 3]
    constant = np.mean((yes.mean() - yes) ** 2)
    gain = {
        n: constant - np.mean((rows[:, i] - yes) ** 2) for n, i in (("m", 1), ("o", 2), ("t", 3))
    }
    apart = {n: np.mean((rows[:, i] - truth) ** 2) for n, i in (("m", 1), ("o", 2))}
    spread = np.mean((truth.mean() - truth) ** 2)
    return {
        "of the truth's gain (Brier)": gain["m"] / gain["t"],
        "the observer, of the truth's gain": gain["o"] / gain["t"],
        "of the observer's gain (Brier)": gain["m"] / gain["o"],
        "of the truth's spread": 1.0 - apart["m"] / spread,
        "the observer, of the truth's spread": 1.0 - apart["o"] / spread,
        "of what the observer knows of the spread": (spread - apart["m"]) / (spread - apart["o"]),
    }


def bootstrap(players: list[np.ndarray], times: int = 500) -> dict[str, tuple[float, float]]:
    """Limits of 95 % of each share, players drawn with return."""
    rng = np.random.default_rng(1)
    found: list[dict[str, float]] = []
    for _ in range(times):
        drawn = rng.integers(len(players), size=len(players))
        found.append(shares([players[i] for i in drawn]))
    ends = {n: np.quantile([f[n] for f in found], (0.025, 0.975)) for n in found[0]}
    return {n: (float(low), float(high)) for n, (low, high) in ends.items()}


def main() -> None:
    scenario, law, first, count = sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
    people = Population(law)  # type: ignore[arg-type]
    players = [player_rows(scenario, law, s, people) for s in range(first, first + count)]
    rows = np.concatenate(players)
    yes = rows[:, 4].astype(bool)
    print(f"{scenario}, {law}: {count} players, {len(yes)} cold takes, {yes.mean():.3f} yes")
    columns = (np.full(len(yes), yes.mean()), *rows[:, :4].T)
    for name, told in zip(WHO, columns, strict=True):
        print(f"  {name:12} Brier {np.mean((told - yes) ** 2):.4f}  AUC {auc(told, yes):.3f}")
    limits = bootstrap(players)
    for name, share in shares(players).items():
        print(f"  {name:42} {share:.3f} ({limits[name][0]:.3f} to {limits[name][1]:.3f})")


if __name__ == "__main__":
    main()
