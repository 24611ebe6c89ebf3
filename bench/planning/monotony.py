"""More importance or a nearer date: minutes of a topic over the week after, against none.

    OMP_NUM_THREADS=1 PYTHONPATH=src python bench/planning/monotony.py FIRST COUNT {model|any}

For each seed a state of two to six topics with up to four weeks behind it is lived on for a week:
planned each evening, played as planned, a step's answers yes from its own minutes on. Then the same
with one topic changed: its importance one higher, then five; its date a tenth nearer, then half.
`model`: worth is the lookahead's; `any`: worth drawn anew for each step and evening, whatever the
date. A line for each change with fewer minutes, then the table.
"""

import random
import sys
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import NamedTuple

import msgspec

from coldtake.domain import events as ev
from coldtake.domain.criterion import Criterion, NotesTest
from coldtake.domain.history.projection import apply
from coldtake.domain.history.state import State
from coldtake.domain.plan import PlanRequest, SlotKind
from coldtake.domain.take import Answer, Judge
from coldtake.domain.topic import Place, Step, StepPhase, Topic
from coldtake.planning.day.plan_day import plan_day, rules_of
from coldtake.planning.value.values import StepValue

FIRST = date(2026, 3, 2)
DAYS = 7
FREE_DAYS = 7  # a date is not brought nearer than this: then other rules hold
DONE = frozenset({StepPhase.MET, StepPhase.HELD})
Worth = Callable[[State, date], tuple[StepValue, ...]]


class Change(NamedTuple):
    """One field of one topic."""

    topic_id: str
    field: str
    to: int | date


@dataclass
class Life:
    """A state and the evenings played on it."""

    minutes: int
    state: State = field(default_factory=State)
    serial: int = 0

    def put(self, data: ev.AnyData, day: date) -> None:
        self.serial += 1
        at = datetime.combine(day, time(17), UTC) + timedelta(seconds=self.serial)
        apply(self.state, ev.Event(id=f"{self.serial:08d}", at=at, day=day, data=data))

    def answer(self, step_id: str, *, yes: bool, day: date) -> None:
        said = Answer.YES if yes else Answer.NO
        data = ev.TryAnswered(
            try_id=f"t{self.serial}", step_id=step_id, answer=said, judge=Judge.PLAYER
        )
        self.put(data, day)

    def work(self, step_id: str, minutes: float, day: date) -> None:
        played = 60.0 * minutes
        self.put(ev.SlotEnded(session_id="", slot_id="", step_id=step_id, played_s=played), day)

    def played(self, step_id: str) -> float:
        return self.state.minutes_of.get(step_id, 0.0)

    def evening(self, day: date, worth: Worth | None) -> Counter[str]:
        """Play an evening's plan; return its minutes by topic."""
        request = PlanRequest(day=day, starts_at=time(17), minutes=self.minutes, run_through=False)
        values = worth(self.state, day) if worth else None
        each: Counter[str] = Counter()
        for slot in plan_day(self.state, request, values=values).slots:
            each[slot.topic_id] += slot.minutes
            need = self.state.steps[slot.step_id].need_min
            done = self.state.phase(slot.step_id) in DONE
            self.answer(slot.step_id, yes=done or self.played(slot.step_id) >= need, day=day)
            self.work(slot.step_id, slot.minutes, day)
            if slot.kind is SlotKind.WORK:
                self.answer(slot.step_id, yes=done or self.played(slot.step_id) >= need, day=day)
        return each


def life(seed: int, change: Change | None = None, topics: Sequence[int] = (2, 6)) -> Life:
    """A state, the same for the same seed but for the change."""
    rng = random.Random(seed)
    count = rng.randint(*topics)
    made = Life(rng.choice([25, 30, 45, 55, 60, 75, 90, 120]))
    long_ago = FIRST - timedelta(days=40)
    for n in range(count):
        dated = rng.random() < 0.5
        topic = Topic(
            id=f"t{n}",
            title=f"Topic {n}",
            importance=rng.randint(1, 5),
            performance_on=FIRST + timedelta(days=rng.randint(8, 100)) if dated else None,
            place=Place.CURRENT,
        )
        if change and change.topic_id == topic.id:
            topic = msgspec.structs.replace(topic, **{change.field: change.to})
        made.put(ev.TopicKept(topic=topic), long_ago)
        before: tuple[str, ...] = ()
        for s in range(rng.randint(1, 9)):
            step = Step(
                id=f"t{n}s{s}",
                topic_id=topic.id,
                title=f"Step {s}",
                criterion=Criterion(tests=(NotesTest(),)),
                need_min=rng.randint(15, 90),
                needs=before if rng.random() < 0.5 else (),
            )
            made.put(ev.StepKept(step=step), long_ago)
            before = (step.id,)
    _weeks_before(made, rng)
    return made


def _weeks_before(made: Life, rng: random.Random) -> None:
    """Some days on which a few steps were played, whatever a plan would have said."""
    for ago in range(rng.choice([0, 0, 3, 10, 25]), 0, -1):
        if rng.random() < 0.15:
            continue
        day = FIRST - timedelta(days=ago)
        for step_id in rng.sample(sorted(made.state.steps), min(5, len(made.state.steps))):
            step = made.state.steps[step_id]
            if all(made.state.phase(i) in DONE for i in step.needs):
                clean = made.played(step_id) > step.need_min * rng.uniform(0.4, 1.2)
                made.answer(step_id, yes=clean, day=day)
                made.work(step_id, rng.randint(4, 12), day)


def changes(seed: int, topics: Sequence[int] = (2, 6)) -> Iterator[Change]:
    """What is raised of one topic, one after the other."""
    before = life(seed, None, topics).state.topics
    topic = before[random.Random(7 * seed + 1).choice(sorted(before))]
    for importance in dict.fromkeys((min(topic.importance + 1, 5), 5)):
        if importance > topic.importance:
            yield Change(topic.id, "importance", importance)
    left = (topic.performance_on - FIRST).days if topic.performance_on else 120
    for share in (0.9, 0.5):
        if FREE_DAYS < int(left * share) < left:
            yield Change(topic.id, "performance_on", FIRST + timedelta(days=int(left * share)))


def any_worth(seed: int) -> Worth:
    """Worth that has nothing to do with the state but what can be worked on."""

    def drawn(state: State, day: date) -> tuple[StepValue, ...]:
        return tuple(
            _drawn(state, step, random.Random(f"{seed}{step.id}{day}")) for step in steps(state)
        )

    def steps(state: State) -> list[Step]:
        return list(state.steps.values())

    return drawn


def _drawn(state: State, step: Step, rng: random.Random) -> StepValue:
    best, half = rng.uniform(0.0, 8.0) * (rng.random() < 0.8), rng.uniform(2.0, 12.0)
    met = state.phase(step.id) in DONE
    return StepValue(
        step_id=step.id,
        topic_id=step.topic_id,
        work_value=tuple(best * (1.0 - 0.5 ** (m / half)) for m in range(25)),
        cold_value=rng.uniform(0.0, 2.0) if met and rng.random() < 0.5 else 0.0,
        available=all(state.phase(i) in DONE for i in step.needs),
        chance_without=0.4,
        chance_with=0.5,
        need_left_min=max(step.need_min - state.minutes_of.get(step.id, 0.0), 10.0),
    )


def week(made: Life, topic_id: str, worth: Worth | None) -> list[int]:
    """Minutes of a topic on each evening of a week."""
    days = (FIRST + timedelta(days=n) for n in range(DAYS))
    return [made.evening(day, worth)[topic_id] for day in days]


def main() -> None:
    first, count, own = int(sys.argv[1]), int(sys.argv[2]), sys.argv[3] == "model"
    found: dict[str, list[int]] = {}
    slot = rules_of(State()).slot_most_min
    for seed in range(first, first + count):
        worth, before = None if own else any_worth(seed), None
        for change in changes(seed):
            before = before or week(life(seed), change.topic_id, worth)
            after = week(life(seed, change), change.topic_id, worth)
            more = sum(after) - sum(before)
            found.setdefault(change.field, []).append(more)
            if more < 0:
                print(seed, change.topic_id, change.field, change.to, before, after, more)
    for name, more in found.items():
        print(
            f"{name:16} {len(more):3} changes  {sum(m < 0 for m in more):2} lower  "
            f"{sum(m < -slot for m in more)} by more than {slot} min  worst {min(more):3}  "
            f"mean {sum(more) / len(more):+.1f}"
        )


if __name__ == "__main__":
    main()
