"""The product's own evening as a rule of the table: `plan_day` with all the rules of a session.

    PYTHONPATH=../../src python flow.py SCENARIO LAW FIRST_SEED COUNT [SETTING=VALUE ...]

One line of JSON for each player; settings are those of the settings page (`topic_share=100`).
"""

import json
import sys
import time
from datetime import time as clock

from world import Slot, World, make, run

from coldtake.domain import events as ev
from coldtake.domain.plan import PlanRequest, SlotKind
from coldtake.planning.day.plan_day import plan_day


def flow(world: World) -> list[Slot]:
    """The slots of the day's plan in its order; two slots of a step stay two."""
    request = PlanRequest(
        day=world.day, starts_at=clock(17), minutes=world.scenario.minutes, run_through=False
    )
    plan = plan_day(world.state, request)
    return [
        Slot(s.step_id, 0.0, cold=True)
        if s.kind is SlotKind.COLD
        else Slot(s.step_id, float(s.minutes))
        for s in plan.slots
    ]


def main() -> None:
    name, law, first, count = sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
    chosen = dict(pair.split("=") for pair in sys.argv[5:])
    for seed in range(first, first + count):
        start = time.process_time()
        world = make(name, seed, law)
        for setting, value in chosen.items():
            world.put(ev.SettingChosen(name=setting, value=value))
        score = run(world, flow)
        row = {
            "scenario": name,
            "law": law,
            "seed": seed,
            "rule": " ".join(["flow", *sys.argv[5:]]),
            "total": round(score.total, 5),
            "date": round(score.on_date, 5),
            "time": round(score.over_time, 5),
            "topics": round(score.topics, 5),
            "cpu": round(time.process_time() - start, 2),
        }
        print(json.dumps(row), flush=True)


if __name__ == "__main__":
    main()
