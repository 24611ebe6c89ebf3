"""What asking met steps back is worth: the product's evening with one setting changed, paired.

    python kept.py SCENARIO FIRST COUNT SETTING=VALUE[,SETTING=VALUE] ... >> rows.jsonl
    python kept.py table BASE < rows.jsonl

Players of the held-out laws (`laws.REPORTING`, in turn). One line of JSON a player and setting:
scores as in `world.py`; `kept`: of the steps that were met at some time, the share that comes out
clean at a cold try on the last day (the hidden truth's mean); `below`: of the steps that are met,
each evening before playing, the share whose hidden chance is under 70 in 100; `cold_min`: minutes
a session of cold takes of steps met by then; `met_min`: all minutes a session on such steps.
"""

import json
import sys
import time
from collections import defaultdict

import laws
import numpy as np
from flow import flow
from world import Slot, World, make, run

from coldtake.domain import events as ev
from coldtake.domain.topic import StepPhase

WANTED = 0.7
MET = frozenset({StepPhase.MET, StepPhase.HELD})
SHOWN = ("total", "date", "topics", "met", "kept", "below", "cold_min", "met_min")


class Watch:
    """The rule of `flow`, counting what it gives to steps that are met."""

    def __init__(self) -> None:
        self.sessions, self.cold, self.all, self.seen, self.below = 0, 0.0, 0.0, 0, 0
        self.ever: set[str] = set()

    def rule(self, world: World) -> list[Slot]:
        phases = world.state.phases()
        met = {i for i, phase in phases.items() if phase in MET}
        slots = flow(world)
        self.sessions += 1
        self.ever |= met
        self.seen += len(met)
        self.below += sum(
            world.player.clean_chance(world.state.steps[i], world.day) < WANTED for i in met
        )
        self.cold += sum(2.0 for s in slots if s.cold and s.step_id in met)
        self.all += sum(s.work + 2.0 * s.cold for s in slots if s.step_id in met)
        return slots


def row(name: str, seed: int, chosen: str) -> dict[str, object]:
    """Live one player's days under some settings."""
    law, start, watch = laws.drawn(seed, laws.REPORTING), time.process_time(), Watch()
    world = make(name, seed, law)
    for pair in filter(None, chosen.split(",")):
        setting, value = pair.split("=")
        world.put(ev.SettingChosen(name=setting, value=value))
    score = run(world, watch.rule)
    ever = watch.ever | {i for i, phase in world.state.phases().items() if phase in MET}
    chances = [world.player.clean_chance(world.state.steps[i], world.last) for i in sorted(ever)]
    return {
        "scenario": name,
        "law": law,
        "seed": seed,
        "rule": chosen,
        "total": round(score.total, 5),
        "date": round(score.on_date, 5),
        "topics": round(score.topics, 5),
        "met": round(len(ever) / len(world.state.steps), 5),
        "kept": round(float(np.mean(chances)), 5) if chances else 0.0,
        "below": round(watch.below / max(watch.seen, 1), 5),
        "cold_min": round(watch.cold / watch.sessions, 3),
        "met_min": round(watch.all / watch.sessions, 3),
        "cpu": round(time.process_time() - start, 2),
    }


def table(base: str) -> None:
    """Means, and paired differences to BASE with the half of their 95 % interval (t)."""
    from scipy.stats import t as student

    groups: dict[str, dict[int, dict[str, dict[str, float]]]] = defaultdict(
        lambda: defaultdict(dict)
    )
    for text in sys.stdin:
        r = json.loads(text)
        groups[r["scenario"]][r["seed"]][r["rule"]] = r
    for name, players in groups.items():
        whole = [p for p in players.values() if base in p]
        print(f"\n{name}")
        for rule in dict.fromkeys(rule for p in whole for rule in p):
            both = [(p[rule], p[base]) for p in whole if rule in p]
            said = [f"  {rule:34} {len(both):2}"]
            for key in SHOWN:
                mine = np.array([m[key] for m, _ in both])
                less = mine - np.array([b[key] for _, b in both])
                half = student.ppf(0.975, len(less) - 1) * less.std(ddof=1) / len(less) ** 0.5
                said.append(f"{key} {mine.mean():.3f} {less.mean():+.3f} ± {half:.3f}")
            kinds: dict[str, list[float]] = defaultdict(list)
            for m, b in both:
                for place, kind in enumerate(b["law"]):  # type: ignore[arg-type]
                    kinds[f"{place}{kind}"].append(m["total"] - b["total"])
            worst = min(kinds, key=lambda k: float(np.mean(kinds[k])))
            said.append(f"worst kind of law {np.mean(kinds[worst]):+.3f} ({worst[1:]})")
            print("  ".join(said))


def main() -> None:
    if sys.argv[1] == "table":
        table(sys.argv[2])
        return
    name, first, count = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    for seed in range(first, first + count):
        for chosen in sys.argv[4:]:
            print(json.dumps(row(name, seed, chosen)), flush=True)


if __name__ == "__main__":
    main()
