"""Scenarios for the table of rules, and the day as a simulated player lives it.

Every number here is a guess of plausible players' lives, stated so that it can be argued with.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta

import laws
import numpy as np

from coldtake.domain import events as ev
from coldtake.domain.criterion import Criterion, NotesTest
from coldtake.domain.history.projection import apply
from coldtake.domain.history.state import State
from coldtake.domain.take import Answer, Judge
from coldtake.domain.topic import Place, Step, Topic
from coldtake.learning.simulated import Law, SimulatedPlayer

FIRST = date(2026, 1, 5)


@dataclass(frozen=True)
class Scenario:
    name: str
    topics: int
    steps: tuple[int, int]
    need: tuple[int, int]
    minutes: int
    days: int
    dated_share: float


SCENARIOS = {
    "pile": Scenario("pile of 60 topics, 6 weeks", 60, (3, 5), (20, 70), 60, 42, 1.0),
    "exam": Scenario("exam, 12 pieces, 10 weeks", 12, (7, 9), (25, 65), 75, 70, 1.0),
    "amateur": Scenario("amateur, 25 min a day, 12 weeks", 10, (4, 6), (25, 60), 25, 84, 0.5),
    "improver": Scenario("improver, 1 year", 30, (7, 9), (25, 65), 45, 365, 0.0),
    "recital": Scenario("recital, 5 pieces, 6 weeks", 5, (4, 5), (25, 65), 40, 42, 1.0),
    "four": Scenario("4 topics with room, 6 weeks", 4, (4, 5), (20, 50), 45, 42, 0.75),
}


@dataclass(frozen=True)
class Slot:
    """What a rule asks for: a cold take (work 0), work, or both."""

    step_id: str
    work: float
    cold: bool = False


@dataclass
class World:
    """One player in one scenario; the log is all that a rule may read (except the oracle)."""

    scenario: Scenario
    player: SimulatedPlayer | laws.Player
    state: State
    day: date = FIRST
    serial: int = 0
    held_back: list[tuple[date, str, float, bool]] = field(default_factory=list)
    clock: datetime = datetime(2026, 1, 5, 17, tzinfo=UTC)

    @property
    def last(self) -> date:
        return FIRST + timedelta(days=self.scenario.days)

    def put(self, data: ev.AnyData) -> None:
        self.serial += 1
        apply(self.state, ev.Event(id=f"{self.serial:08d}", at=self.clock, day=self.day, data=data))

    def pass_minutes(self, minutes: float) -> None:
        self.clock += timedelta(minutes=minutes)

    def answer(self, step: Step, *, cold: bool) -> Answer:
        """A try, answered by the player; every third is recorded and heard."""
        heard = self.serial % 3 == 0
        if heard:
            said = self.player.try_heard(step, self.day, warm=not cold)
        else:
            said = (self.player.try_cold if cold else self.player.try_warm)(step, self.day)
        judge = Judge.TOOL if heard else Judge.PLAYER
        self.put(
            ev.TryAnswered(try_id=f"t{self.serial}", step_id=step.id, answer=said, judge=judge)
        )
        self.pass_minutes(0.5)
        return said

    def live(self, slots: list[Slot]) -> None:
        """Play the slots; on a day cut short the later ones fall away."""
        self.clock = datetime.combine(self.day, datetime.min.time(), UTC)
        self.clock += timedelta(hours=17)
        total = sum(s.work + 2.0 * s.cold for s in slots)
        left, into = self.player.stays(self.day, total), 0.0
        for slot in slots:
            used = self._play(slot, left, into)
            left, into = left - used, into + used
            if left < 1.0:
                break

    def _play(self, slot: Slot, left: float, into: float) -> float:
        """Work begins with one try (cold when it is the first of the day) and ends with one."""
        step = self.state.steps[slot.step_id]
        minutes = min(slot.work, left - 2.0 * slot.cold)
        used = 0.0
        for part, tries in ((2.0 * slot.cold, 1), (minutes, 2)):
            if part >= 1.0:
                first = not self.state.touched(slot.step_id, self.day)
                if isinstance(self.player, laws.Player):
                    self.player.begin(step, self.day, into + used)
                self.answer(step, cold=first)
                self.player.practise(step, part - 0.5 * tries, self.day)
                self.pass_minutes(part - 0.5 * tries)
                if tries == 2:
                    self.answer(step, cold=False)
                self.put(_slot_ended(step.id, part))
                used += part
        return used

    def chances(self, on: date) -> np.ndarray:
        steps = self.state.steps.values()
        return np.array([self.player.clean_chance(s, on) for s in steps])

    def weights(self) -> np.ndarray:
        topics = self.state.topics
        raw = [topics[s.topic_id].importance for s in self.state.steps.values()]
        return np.array(raw) / np.sum(raw)


def _slot_ended(step_id: str, minutes: float) -> ev.SlotEnded:
    return ev.SlotEnded(session_id="", slot_id="", step_id=step_id, played_s=60.0 * minutes)


def make(name: str, seed: int, law: Law | laws.Law) -> World:
    """Lay out a scenario for one player; steps of a topic need the one before."""
    scenario = SCENARIOS[name]
    rng = np.random.default_rng(seed)
    wide = isinstance(law, laws.Law)
    player = laws.Player(seed, law) if wide else SimulatedPlayer(seed, law)
    world = World(scenario, player, State())
    for t in range(scenario.topics):
        dated = rng.random() < scenario.dated_share
        topic = Topic(
            id=f"{seed}-{t}",
            title=f"Topic {t}",
            importance=int(rng.integers(1, 6)),
            performance_on=world.last if dated else None,
            place=Place.CURRENT,
        )
        world.put(ev.TopicKept(topic=topic))
        before: tuple[str, ...] = ()
        for s in range(int(rng.integers(scenario.steps[0], scenario.steps[1] + 1))):
            step = Step(
                id=f"{topic.id}-{s}",
                topic_id=topic.id,
                title=f"Step {s}",
                criterion=Criterion(tests=(NotesTest(),)),
                need_min=int(rng.integers(scenario.need[0], scenario.need[1] + 1)),
                needs=before,
            )
            world.put(ev.StepKept(step=step))
            before = (step.id,)
    world.put(ev.SettingChosen(name="session_minutes", value=str(scenario.minutes)))
    return world


Rule = Callable[[World], list[Slot]]


@dataclass(frozen=True)
class Score:
    """Importance-weighted clean cold takes on the date, averaged over time; whole topics."""

    on_date: float
    over_time: float
    topics: float

    @property
    def total(self) -> float:
        return 0.7 * self.on_date + 0.3 * self.over_time


def run(world: World, rule: Rule, watch: Callable[[World], None] | None = None) -> Score:
    """Live the scenario's days by a rule."""
    weights = world.weights()
    along = []
    while world.day < world.last:
        if watch:
            watch(world)
        if world.player.comes(world.day):
            world.live(rule(world))
        if world.day.toordinal() % 3 == 0:
            along.append(float(weights @ world.chances(world.day + timedelta(days=1))))
        world.day += timedelta(days=1)
    final = world.chances(world.last)
    return Score(float(weights @ final), float(np.mean(along)), _whole_topics(world, final))


def _whole_topics(world: World, chances: np.ndarray) -> float:
    """Expected importance-weighted share of topics with every step clean."""
    whole: dict[str, float] = {}
    for step, chance in zip(world.state.steps.values(), chances, strict=True):
        whole[step.topic_id] = whole.get(step.topic_id, 1.0) * float(chance)
    importance = {t.id: t.importance for t in world.state.topics.values()}
    return sum(importance[t] * c for t, c in whole.items()) / sum(importance.values())
