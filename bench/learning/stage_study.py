"""Does the taper cost anything on the day? A concert of simulated players, with and without it.

    PYTHONPATH=src:bench/learning python bench/learning/stage_study.py --players 12 --first 2001

Four pieces of four sections and one study without a date, 45 minutes a day, six weeks. Each player
has a hidden stage effect, drawn as the model's prior says (that is all it can say), and lives three
times, days and answers drawn alike:

    dates      the pieces have the date, nothing is known of a programme
    taper      the programme is known, no run-throughs
    stage      programme, taper and run-throughs as the plan offers them

Told on the day, from the truth: sections clean on stage, pieces, the whole programme; and minutes
of work on what was never met, of cold takes and of run-throughs in the last week and before.
"""

import argparse
from collections import Counter
from dataclasses import dataclass, field
from datetime import time, timedelta

import numpy as np
from world import FIRST, Scenario, Slot, World

from coldtake.domain import events as ev
from coldtake.domain.criterion import Criterion, NotesTest
from coldtake.domain.history.state import State
from coldtake.domain.performance import Performance, RunKind, RunPart
from coldtake.domain.plan import Plan, PlanRequest, SlotKind
from coldtake.domain.take import Answer
from coldtake.domain.topic import Place, Step, StepPhase, Topic
from coldtake.learning import stage
from coldtake.learning.filter import DAY_FORM_SD
from coldtake.learning.simulated import SimulatedPlayer
from coldtake.learning.stage import day_forms
from coldtake.planning.day.plan_day import plan_day

DAYS, MINUTES, PIECES, SECTIONS = 42, 45, 4, 4
ARMS = ("dates", "taper", "stage")
ON = FIRST + timedelta(days=DAYS)


@dataclass
class Life:
    """One player in one arm."""

    world: World
    arm: str
    stage_effect: float
    run_effect: float
    rng: np.random.Generator
    minutes: dict[str, Counter] = field(
        default_factory=lambda: {"early": Counter(), "week": Counter()}
    )
    runs: list[int] = field(default_factory=list)

    @property
    def pieces(self) -> list[str]:
        return [f"piece {n}" for n in range(PIECES)]

    def live(self) -> None:
        world = self.world
        while world.day < ON:
            if world.player.comes(world.day):
                request = PlanRequest(
                    day=world.day,
                    starts_at=time(17),
                    minutes=MINUTES,
                    run_through=self.arm == "stage",
                )
                self.play(plan_day(world.state, request))
            world.day += timedelta(days=1)

    def play(self, plan: Plan) -> None:
        count = self.minutes["week" if (ON - self.world.day).days <= 7 else "early"]
        if plan.run:
            self.run_through(plan)
            count["run"] += plan.run.minutes
        phases = self.world.state.phases()
        for s in plan.slots:
            kind = "cold" if s.kind is SlotKind.COLD else "kept"
            if kind == "kept" and phases[s.step_id] in (StepPhase.OPEN, StepPhase.IN_WORK):
                kind = "new"
            count[kind] += s.minutes
        self.world.live([_slot(s) for s in plan.slots])

    def run_through(self, plan: Plan) -> None:
        """One chance at each section, told piece by piece with the places where it broke."""
        world, form = self.world, self.rng.normal(0.0, DAY_FORM_SD)
        self.runs.append((ON - world.day).days)
        parts = []
        each = plan.run.minutes / len(plan.run.topic_ids) / SECTIONS
        for topic_id in plan.run.topic_ids:
            broke = []
            for step in world.state.topic_steps(topic_id):
                chance = world.player.clean_chance(step, world.day)
                logit = np.log(chance / (1.0 - chance)) + self.run_effect + form
                if self.rng.random() > 1.0 / (1.0 + np.exp(-logit)):
                    broke.append(step.id)
                world.player.practise(step, each, world.day)
            answer = Answer.NO if broke else Answer.YES
            parts.append(RunPart(topic_id=topic_id, answer=answer, broke=tuple(broke)))
        told = ev.RunTold(
            run_id=f"r{world.day}",
            run_kind=RunKind.RUN_THROUGH,
            performance_id="concert",
            parts=tuple(parts),
            played_s=60.0 * plan.run.minutes,
        )
        world.put(told)

    def on_the_day(self) -> tuple[float, float, float]:
        """Sections clean on stage (share), pieces (share), the whole programme (chance)."""
        forms, weights = day_forms()
        state = self.world.state
        steps = [list(state.topic_steps(t)) for t in self.pieces]
        room = np.array([[self.world.player.clean_chance(s, ON) for s in own] for own in steps])
        logit = np.log(room / (1.0 - room))[:, :, None] + self.stage_effect + forms
        clean = 1.0 / (1.0 + np.exp(-logit))
        pieces = clean.prod(axis=1)
        whole = pieces.prod(axis=0)
        return (
            float((clean @ weights).mean()),
            float((pieces @ weights).mean()),
            float(whole @ weights),
        )


def _slot(s) -> Slot:
    cold = s.kind is SlotKind.COLD
    return Slot(s.step_id, 0.0 if cold else float(s.minutes), cold)


def born(seed: int, law: str, arm: str) -> Life:
    rng = np.random.default_rng([seed, 5])
    on_stage = rng.normal(stage.STAGE_MID, stage.STAGE_SD)
    rehearsed = rng.normal(stage.RUN_SHARE * on_stage, stage.RUN_SD)
    scenario = Scenario("concert", PIECES + 1, (SECTIONS, SECTIONS), (25, 70), MINUTES, DAYS, 1.0)
    world = World(scenario, SimulatedPlayer(seed, law), State())
    for n in range(PIECES + 1):
        name = f"piece {n}" if n < PIECES else "study"
        dated = arm == "dates" and n < PIECES
        topic = Topic(
            id=name, title=name, place=Place.CURRENT, performance_on=ON if dated else None
        )
        world.put(ev.TopicKept(topic=topic))
        for s in range(SECTIONS):
            step = Step(
                id=f"{seed}-{name}-{s}",
                topic_id=name,
                title=f"Section {s}",
                criterion=Criterion(tests=(NotesTest(),)),
                need_min=int(rng.integers(*scenario.need)),
            )
            world.put(ev.StepKept(step=step))
    world.put(ev.SettingChosen(name="session_minutes", value=str(MINUTES)))
    world.put(ev.SettingChosen(name="topics_most", value="5"))
    life = Life(world, arm, float(on_stage), float(rehearsed), np.random.default_rng([seed, 6]))
    if arm != "dates":
        concert = Performance(id="concert", title="Concert", on=ON, programme=tuple(life.pieces))
        world.put(ev.PerformanceKept(performance=concert))
    return life


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--players", type=int, default=12)
    asked.add_argument("--first", type=int, default=1)
    asked = asked.parse_args()
    for law in ("power", "half_life"):
        told = {arm: [] for arm in ARMS}
        minutes = {arm: {"early": Counter(), "week": Counter()} for arm in ARMS}
        runs = []
        for seed in range(asked.first, asked.first + asked.players):
            for arm in ARMS:
                life = born(seed, law, arm)
                life.live()
                told[arm].append(life.on_the_day())
                for when, count in life.minutes.items():
                    minutes[arm][when] += count
                if arm == "stage":
                    runs.append(life.runs)
        print(f"{law}, {asked.players} players from {asked.first}")
        base = np.array(told["dates"])
        for arm in ARMS:
            rows = np.array(told[arm])
            off = rows - base
            error = 1.96 * off.std(axis=0, ddof=1) / np.sqrt(len(rows))
            print(f"  {arm:6s} sections, pieces, whole {np.round(rows.mean(axis=0), 3)}", end="")
            print(f"  against dates {np.round(off.mean(axis=0), 3)} ± {np.round(error, 3)}")
            for when, count in minutes[arm].items():
                whole = sum(count.values()) or 1
                shares = {
                    k: f"{100 * count[k] / whole:.0f} %" for k in ("new", "kept", "cold", "run")
                }
                print(f"         {when:5s} {shares}")
        days = [d for own in runs for d in own]
        print(f"  run-throughs a player {len(days) / len(runs):.1f}, days before {sorted(days)}")


if __name__ == "__main__":
    main()
