"""How right is the outlook? python bench/learning/outlook_study.py LAW FIRST COUNT [FUTURES]

A small world (5 pieces, 21 to 25 steps, one date, 40 minutes a day, 6 weeks), the planner in
charge; half-way the outlook is asked, then the player lives on. Interval of 80 % of the number of
steps that come out clean in one cold try each on the date, for the date and for each piece; on the
date the form of the day is the player's own. Against

pace so far      steps whose last cold take was a yes, and as many again by the date; interval:
                 what is still to come is Poisson, with the number so far as its mean
true parameters  the same half-way player lives FUTURES times more (other luck, other days missed),
                 the planner in the loop: the mean of the numbers is what can be known of the date

Covered: the true number lies within the limits. A player's pieces share his date, so the interval
of pieces is from players drawn anew (cluster bootstrap).
"""

import json
import pickle
import sys
import time
from datetime import timedelta

import numpy as np
from rules import planner
from scipy.stats import poisson
from world import World, make, run

from coldtake.learning.simulated import SimulatedPlayer
from coldtake.planning.outlook.summary import by_date, outlook


def halfway(law: str, seed: int) -> tuple[bytes, World]:
    """Live to the end; return the world as it was half-way too."""
    kept: dict[str, bytes] = {}
    world = make("recital", seed, law)  # type: ignore[arg-type]

    def watch(now: World) -> None:
        if (now.last - now.day).days == now.scenario.days // 2:
            kept["half"] = pickle.dumps(now)

    run(world, planner, watch)
    return kept["half"], world


def lived_again(half: bytes, number: int) -> np.ndarray:
    """Chances on the date when the same player lives on with other luck and other days missed."""
    world: World = pickle.loads(half)
    player = world.player
    for step in world.state.steps.values():
        player.clean_chance(step, world.day)  # draws the step's truth before the seed changes
    player.seed = player.seed * 1000 + number
    player._forms = {}
    player._rng = np.random.default_rng(player.seed)
    run(world, planner)
    return world.chances(world.last)


def formed(chances: np.ndarray, form: float) -> np.ndarray:
    """Chances on a day of a form [logits]."""
    logit = np.log(chances / (1.0 - chances)) + form
    return np.asarray(1.0 / (1.0 + np.exp(-logit)))


def row_of(law: str, seed: int, half: bytes, finals: list[np.ndarray]) -> dict[str, object]:
    """What was said half-way and what came. finals : chances as lived, then lived again."""
    world: World = pickle.loads(half)
    evening = world.day - timedelta(days=1)
    start = time.process_time()
    pieces = outlook(world.state, evening)
    cpu = time.process_time() - start
    [whole] = by_date(world.state, evening)
    form = SimulatedPlayer(seed, law)._form(world.last)  # type: ignore[arg-type]
    chances = np.clip(finals[0], 1e-9, 1.0 - 1e-9)
    clean = np.random.default_rng(seed).random(len(chances)) < formed(chances, form)
    row = {step_id: n for n, step_id in enumerate(world.state.steps)}
    last = {t.step_id: t.answer == "yes" for t in world.state.tries.values() if t.cold}
    met = sum(last.values())
    low, high = poisson.ppf((0.1, 0.9), met)
    told = [c.mid for p in pieces for c in (s.chance for s in p.steps)]
    by_piece = []
    for p in pieces:
        came = int(sum(clean[row[s.step_id]] for s in p.steps))
        by_piece.append((p.clean_steps.low <= came <= p.clean_steps.high, p.ready_chance, came))
    return {
        "law": law,
        "seed": seed,
        "steps": len(chances),
        "clean": int(clean.sum()),
        "expected": float(chances.sum()),
        "told": float(sum(told)),
        "limits": (whole.clean_steps.low, whole.clean_steps.high),
        "pieces": [(bool(inside), ready, came) for inside, ready, came in by_piece],
        "sizes": [len(p.steps) for p in pieces],
        "pace": min(2.0 * met, float(len(chances))),
        "pace_limits": (min(met + low, len(chances)), min(met + high, len(chances))),
        "known": float(np.mean([f.sum() for f in finals[1:]])) if finals[1:] else None,
        "futures": len(finals) - 1,
        "cpu": round(cpu, 3),
    }


def main() -> None:
    law, first, count = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    futures = int(sys.argv[4]) if len(sys.argv) > 4 else 0
    for seed in range(first, first + count):
        half, world = halfway(law, seed)
        finals = [world.chances(world.last)]
        finals += [lived_again(half, n) for n in range(1, futures + 1)]
        print(json.dumps(row_of(law, seed, half, finals)), flush=True)


if __name__ == "__main__":
    main()
