"""How right is the outlook, on players of many laws?

    python wide_outlook.py {tuning|reporting} SCENARIO FIRST COUNT >> rows.jsonl
    python wide_outlook.py table < rows.jsonl

The product's own plan is played; after a quarter, half and three quarters of the days the outlook
is asked. Every topic with a date: told chances of its steps against the true ones (the form of the
day averaged), and whether the 80 % intervals of the number of clean steps hold the numbers of
FORMS days of other forms, on which one cold take of each step is played.
"""

import json
import sys
from collections.abc import Iterator
from datetime import timedelta

import laws
import numpy as np
from product import product
from world import World, make, run

from coldtake.planning.value.day_outcomes import number_interval, number_shares
from coldtake.planning.value.forecast import Forecast, forecasts
from coldtake.planning.value.step_arrays import ON_DATE

FORMS = 16
WHOLE_LIMITS = (0.02, 0.05, 0.1, 0.2, 0.35)


def looks(part: str, name: str, seed: int) -> Iterator[dict[str, object]]:
    """Live one player's days; one row for each time that the outlook was asked."""
    law = laws.drawn(seed, {"tuning": laws.TUNING, "reporting": laws.REPORTING}[part])
    world = make(name, seed, law)
    asked: list[tuple[int, Forecast]] = []
    days = world.scenario.days

    def watch(now: World) -> None:
        gone = days - (now.last - now.day).days
        if gone in (days // 4, days // 2, 3 * days // 4):
            *_, found = forecasts(now.state, now.day - timedelta(days=1))
            if found is not None:
                asked.append((gone, found))

    run(world, product, watch)
    for gone, found in asked:
        yield {"scenario": name, "law": law, "seed": seed, "day": gone} | row(world, found)


def row(world: World, found: Forecast) -> dict[str, object]:
    """Hold one outlook against what came."""
    truth = dict(zip(world.state.steps, world.chances(world.last), strict=True))
    final = np.clip([truth[i] for i in found.steps.ids], 1e-6, 1.0 - 1e-6)
    rng = np.random.default_rng(world.player.seed)
    forms = rng.normal(0.0, world.player.form_sd, FORMS)  # type: ignore[union-attr]
    true = 1.0 / (1.0 + (1.0 - final)[:, None] / final[:, None] * np.exp(-forms))
    clean = rng.random(true.shape) < true
    told = found.chances()
    dated = np.flatnonzero(np.equal(found.steps.aim, ON_DATE))
    topics = [r for r in found.rows.values() if r[0] in dated]

    def held(rows: list[int] | np.ndarray) -> float:
        limits = number_interval(number_shares(told[rows]))
        numbers = clean[rows].sum(axis=0)
        return float(np.mean((numbers >= limits.low) & (numbers <= limits.high)))

    return {
        "steps": [[float(told[n].mean()), float(true[n].mean())] for n in dated],
        "date": held(dated) if len(dated) else None,
        "topics": [held(r) for r in topics],
        "whole": [[float(t[r].prod(axis=0).mean()) for t in (told, true)] for r in topics],
    }


def table() -> None:
    """Print what the rows on standard input say."""
    rows = [json.loads(text) for text in sys.stdin]
    rows = [r for r in rows if r["date"] is not None]
    steps = np.array([p for r in rows for p in r["steps"]])
    whole = np.array([p for r in rows for p in r["whole"]])
    bias = np.mean([np.subtract(*np.sum(r["steps"], axis=0)) for r in rows])
    print(f"{len(rows)} outlooks, {len({(r['scenario'], r['seed']) for r in rows})} players")
    print(f"  80 % intervals hold: date {np.mean([r['date'] for r in rows]):.3f}", end=", ")
    print(f"topic {np.mean([t for r in rows for t in r['topics']]):.3f}")
    print(f"  told - true: {bias:+.2f} steps of {np.mean([len(r['steps']) for r in rows]):.1f}")
    _by_group("step, told > true", steps, np.linspace(0.1, 0.9, 9))
    _by_group("whole topic", whole, np.array(WHOLE_LIMITS))


def _by_group(name: str, pairs: np.ndarray, limits: np.ndarray) -> None:
    group = np.digitize(pairs[:, 0], limits)
    means = [pairs[group == g].mean(axis=0) for g in np.unique(group)]
    print(f"  {name}: " + "  ".join(f"{told:.2f} > {true:.2f}" for told, true in means))
    print(f"    in all {pairs[:, 0].mean():.3f} > {pairs[:, 1].mean():.3f}")


def main() -> None:
    if sys.argv[1] == "table":
        table()
        return
    part, name, first, count = sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
    for seed in range(first, first + count):
        for found in looks(part, name, seed):
            print(json.dumps(found), flush=True)


if __name__ == "__main__":
    main()
