"""What if, held against what came: simulated players live on with a change and without.

    OMP_NUM_THREADS=1 PYTHONPATH=src python bench/planning/what_if_study.py LAW FIRST COUNT

Each player practises five topics for twelve days by the planner; then the answers to three
suppositions are asked of the log, and the player lives on to the date four times over: as before,
with a sixth topic, with twenty minutes more a day, and with a week without playing. What came is
the hidden chance of a clean cold take on the date, summed over steps; missed days are the same in
all four. One row of JSON for each player and supposition.
"""

import copy
import dataclasses
import json
import sys
import time
from datetime import timedelta
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "learning"))

import world as worlds
from rules import planner
from world import Scenario, World

from coldtake.domain import events as ev
from coldtake.domain.topic import Place
from coldtake.planning.what_if.comparison import Difference, what_if
from coldtake.planning.what_if.what_if_scenario import WhatIf

BEGUN_DAYS = 12
MORE_MIN = 20
FREE = (10, 7)  # the first free day, counted from the day of asking, and how many
LIVES = Scenario("six topics, 6 weeks", 6, (5, 5), (25, 60), 30, 42, 1.0)


def live(world: World, days: int, free: range = range(0)) -> World:
    """Live so many days by the planner, none of the free ones."""
    for ahead in range(days):
        if ahead not in free and world.player.comes(world.day):
            world.live(planner(world))
        world.day += timedelta(days=1)
    return world


def begun(seed: int, law: str) -> tuple[World, str]:
    """A player after twelve days with five topics, and the id of the sixth, which waits."""
    worlds.SCENARIOS["six"] = LIVES
    world = worlds.make("six", seed, law)
    last = list(world.state.topics)[-1]
    world.put(ev.TopicPlaced(topic_id=last, place=Place.WAITING))
    return live(world, BEGUN_DAYS), last


def ready(world: World, without: str) -> tuple[float, float]:
    """Expected clean steps of the five topics, and of the sixth, on the date."""
    chances = world.chances(world.last)
    own = np.array([s.topic_id == without for s in world.state.steps.values()])
    return float(chances[~own].sum()), float(chances[own].sum())


def row(what: str, said: Difference, came: float) -> dict[str, object]:
    return {
        "what": what,
        "said": round(said.mean, 3),
        "error": round(said.error, 4),
        "came": round(came, 3),
        "within": said.low <= came <= said.high,
    }


def study(seed: int, law: str) -> list[dict[str, object]]:
    world, sixth = begun(seed, law)
    rest = (world.last - world.day).days
    first = world.day + timedelta(days=FREE[0])
    today = world.day - timedelta(days=1)  # the evening before
    added = WhatIf(take_on=(sixth,))
    answers = {
        "sixth": what_if(world.state, today, added),
        "minutes": what_if(world.state, today, WhatIf(more_min=MORE_MIN)),
        "holiday": what_if(world.state, today, WhatIf(free_from=first, free_days=FREE[1])),
    }
    branches = {name: copy.deepcopy(world) for name in ("as before", *answers)}
    branches["sixth"].put(ev.TopicPlaced(topic_id=sixth, place=Place.CURRENT))
    longer = dataclasses.replace(LIVES, minutes=LIVES.minutes + MORE_MIN)
    branches["minutes"].scenario = longer
    free = {"holiday": range(FREE[0], FREE[0] + FREE[1])}
    came = {n: ready(live(b, rest, free.get(n, range(0))), sixth) for n, b in branches.items()}
    five, own = came["as before"]
    new = next(t for t in answers["sixth"].topics if t.topic_id == sixth)
    return [
        row("sixth topic, the other five", answers["sixth"].others, came["sixth"][0] - five),
        row("sixth topic, its own", new.clean, came["sixth"][1] - own),
        row("20 minutes more a day", answers["minutes"].all, came["minutes"][0] - five),
        row("a week without playing", answers["holiday"].all, came["holiday"][0] - five),
    ]


def main() -> None:
    law, first, count = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    for seed in range(first, first + count):
        start = time.process_time()
        for found in study(seed, law):
            print(json.dumps({"law": law, "seed": seed, **found}), flush=True)
        print(f"{seed}: {time.process_time() - start:.1f} s", file=sys.stderr, flush=True)


if __name__ == "__main__":
    main()
