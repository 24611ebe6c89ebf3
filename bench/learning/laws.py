"""Players of many laws of learning and forgetting, one law drawn for each player.

A law is a combination of four kinds; the rest (warm-up, fatigue, forms of the day, wrong answers,
missed days) are amounts, drawn for every player. None of them is the model's own law
(`coldtake.learning.memory_law`), and no planner is told which it plays for.

learning     exponential : 1 - exp(-m); power : 1 - (1 + m) ** -c (Heathcote, Brown and Mewhort
             2000; Newell and Rosenbloom 1981); stepped : half of it comes in five sudden steps
             (insight; direction only, the amount is a guess)
forgetting   power : (1 + t / s) ** -d (Wixted and Ebbesen 1991); exponential : 2 ** (-t / h)
             (Settles and Meeder 2016)
growth       of the half-life: `first` by a day's first visit alone, `every` by each visit,
             however near the last, `spacing` by a day's minutes, more the more was forgotten
             (direction: Cepeda and others 2008)
harm         whether an unclean try makes the step worse

Combinations are split for good: `TUNING` laws may be looked at while a planner is made, `REPORTING`
laws only for the tables. Each kind is in both, no combination is. All sizes are guesses of what is
plausible, spread widely.
"""

import hashlib
import math
from dataclasses import dataclass, field
from datetime import date
from itertools import product
from typing import NamedTuple

import numpy as np

from coldtake.domain.take import Answer
from coldtake.domain.topic import Step

LEARNING = ("exponential", "power", "stepped")
FORGETTING = ("power", "exponential")
GROWTH = ("first", "every", "spacing")
HARM = ("none", "harm")


class Law(NamedTuple):
    learning: str
    forgetting: str
    growth: str
    harm: str

    def __str__(self) -> str:
        return "-".join(self)


ALL = tuple(Law(*kinds) for kinds in product(LEARNING, FORGETTING, GROWTH, HARM))


def _held_out(law: Law) -> bool:
    """One combination in three: a Latin square over learning and growth, turned by the others."""
    turn = LEARNING.index(law.learning) + GROWTH.index(law.growth)
    turn += FORGETTING.index(law.forgetting) + HARM.index(law.harm)
    return turn % 3 == 0


REPORTING = tuple(law for law in ALL if _held_out(law))
TUNING = tuple(law for law in ALL if not _held_out(law))

COLD_RATE = 12.0  # minutes in which what was forgotten comes back by playing alone; a guess
FIRMING_MIN = 4.0  # minutes that bring 63 % of what a visit does for the half-life; a guess
HOLD_MOST = 400.0  # days
WARMING_MIN = 8.0  # minutes in which a player warms up (63 %); a guess


@dataclass(slots=True)
class Truth:
    """One step's hidden parameters and where it stands after its last playing."""

    pace: float
    limit: float
    steep: float
    half: float
    decay: float
    growth: float
    savings: float
    stairs: tuple[float, ...]
    worked: float = 0.0
    lost: float = 0.0
    hold: float = 5.0
    day: int | None = None
    visits: int = 0
    visit_min: float = 0.0
    kept: float = 0.5


def generator(seed: int, *words: object) -> np.random.Generator:
    text = "\x1f".join(str(w) for w in (seed, *words))
    return np.random.default_rng(int.from_bytes(hashlib.sha256(text.encode()).digest()[:8], "big"))


@dataclass(slots=True)
class Player:
    """A player whose skill is hidden. Same seed, same calls: the same player and answers.

    The truth of a step depends on the seed and the step's id, not on the order of first calls.
    """

    seed: int
    law: Law
    false_yes: float = field(init=False)
    false_no: float = field(init=False)
    missed_share: float = field(init=False)
    cut_share: float = field(init=False)
    form_sd: float = field(init=False)
    cold_loss: float = field(init=False)
    tired: float = field(init=False)
    warm_bonus: float = field(init=False)
    harm: float = field(init=False)
    into: float = 0.0
    _pace: float = field(init=False)
    _hold: float = field(init=False)
    _rng: np.random.Generator = field(init=False)
    _truths: dict[str, Truth] = field(init=False, default_factory=dict)
    _forms: dict[int, float] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        rng = generator(self.seed, "player")
        self.false_yes = float(rng.beta(3.0, 24.0))
        self.false_no = float(rng.beta(2.0, 38.0))
        self._pace = float(np.exp(rng.normal(0.0, 0.35)))
        self._hold = float(np.exp(rng.normal(0.0, 0.4)))
        self.missed_share = float(rng.uniform(0.03, 0.3))
        self.cut_share = float(rng.uniform(0.05, 0.3))
        self.form_sd = float(rng.uniform(0.2, 0.8))
        self.cold_loss = float(rng.uniform(0.0, 1.0))
        self.tired = float(rng.uniform(0.0, 0.5))
        self.warm_bonus = float(rng.uniform(0.2, 0.9))
        self.harm = float(rng.uniform(0.01, 0.04)) if self.law.harm == "harm" else 0.0
        self._rng = generator(self.seed, "tries")

    def comes(self, day: date) -> bool:
        """Say whether the player practises on this day at all."""
        return bool(generator(self.seed, "comes", day).random() >= self.missed_share)

    def stays(self, day: date, planned_min: float) -> float:
        """Minutes after which the player stops; the planned ones, or fewer on a day cut short."""
        rng = generator(self.seed, "stays", day)
        cut = rng.random() < self.cut_share
        return float(planned_min * rng.uniform(0.3, 0.9)) if cut else planned_min

    def begin(self, step: Step, day: date, into: float) -> None:
        """Turn to a step, so many minutes into the session: a new visit."""
        self.into = into
        truth = self._truth(step)
        self._wake(truth, day)
        truth.visits += 1
        truth.visit_min = 0.0

    def practise(self, step: Step, minutes: float, day: date) -> None:
        """Work on a step for so many minutes >= 0."""
        truth = self._truth(step)
        self._wake(truth, day)
        self._work(truth, minutes)

    def try_cold(self, step: Step, day: date) -> Answer:
        """Try once before any work and answer oneself; the try is half a minute of work."""
        return self._answer(step, day, warm=False, heard=False)

    def try_warm(self, step: Step, day: date) -> Answer:
        """Try once in the middle of work and answer oneself."""
        return self._answer(step, day, warm=True, heard=False)

    def try_heard(self, step: Step, day: date, *, warm: bool = False) -> Answer:
        """Try once with a listener who errs 3 times in 100 either way."""
        return self._answer(step, day, warm=warm, heard=True)

    def clean_chance(self, step: Step, on: date) -> float:
        """Truth, for scoring only: chance of a clean cold take on a day of average form."""
        truth = self._truth(step)
        gap = 0 if truth.day is None else on.toordinal() - truth.day
        return _clean(self._skill(truth, float(gap)), truth)

    def form(self, day: date) -> float:
        """The day's form [logits]."""
        key = day.toordinal()
        if key not in self._forms:
            self._forms[key] = float(generator(self.seed, "form", day).normal(0.0, self.form_sd))
        return self._forms[key]

    def _answer(self, step: Step, day: date, *, warm: bool, heard: bool) -> Answer:
        truth = self._truth(step)
        self._wake(truth, day)
        shift = self.form(day) - self.cold_loss * math.exp(-self.into / WARMING_MIN)
        shift += self.warm_bonus if warm else 0.0
        clean = self._rng.random() < _clean(self._skill(truth, 0.0), truth, shift)
        self._work(truth, 0.5)
        if not clean:
            truth.lost += self.harm * (self.reached(truth.worked, truth) - truth.lost)
        wrong = (0.03, 0.03) if heard else (self.false_yes, self.false_no)
        slip = self._rng.random() < (wrong[1] if clean else wrong[0])
        return Answer.YES if bool(clean) != bool(slip) else Answer.NO

    def _truth(self, step: Step) -> Truth:
        if step.id not in self._truths:
            self._truths[step.id] = self._drawn(step)
        return self._truths[step.id]

    def _drawn(self, step: Step) -> Truth:
        rng = generator(self.seed, "step", step.id)
        spacing = self.law.growth == "spacing"
        middle = 3.0 if self.law.forgetting == "power" else 9.0
        truth = Truth(
            pace=step.need_min * self._pace * float(np.exp(rng.normal(0.0, 0.4))),
            limit=float(rng.uniform(0.92, 1.0)),
            steep=float(rng.uniform(6.5, 9.0)),
            half=float(rng.uniform(0.48, 0.6)),
            decay=float(rng.uniform(0.3, 0.6)),
            growth=float(rng.uniform(0.8, 2.6) if spacing else rng.uniform(0.15, 0.5)),
            savings=float(rng.uniform(1.5, 3.0)),
            stairs=tuple(sorted(rng.uniform(0.15, 2.2, size=5))),
            hold=middle * float(np.exp(rng.normal(0.0, 0.42))) * self._hold,
        )
        truth.worked = self._minutes_at(float(np.clip(rng.normal(0.1, 0.12), 0.0, 0.6)), truth)
        return truth

    def reached(self, worked: float, truth: Truth) -> float:
        """Skill right after so many minutes in all; `pace` minutes lead to about 80 % clean."""
        dose = worked / truth.pace
        if self.law.learning == "power":
            return truth.limit * (1.0 - (1.0 + 1.8 * dose) ** -1.45)
        smooth = 1.0 - math.exp(-1.5 * dose)
        if self.law.learning == "exponential":
            return truth.limit * smooth
        sudden = 1.0 - math.exp(-1.5 * max((s for s in truth.stairs if s <= dose), default=0.0))
        return truth.limit * 0.5 * (smooth + sudden)

    def _minutes_at(self, skill: float, truth: Truth) -> float:
        left = 1.0 - min(skill / truth.limit, 0.999)
        if self.law.learning == "power":
            return truth.pace / 1.8 * (left ** (-1.0 / 1.45) - 1.0)
        return -truth.pace / 1.5 * math.log(left)

    def _retained(self, truth: Truth, days: float) -> float:
        if self.law.forgetting == "power":
            return float((1.0 + days / truth.hold) ** -truth.decay)
        return float(2.0 ** (-days / truth.hold))

    def _skill(self, truth: Truth, more_days: float) -> float:
        reached = self.reached(truth.worked, truth)
        return (reached - truth.lost) * self._retained(truth, more_days)

    def _wake(self, truth: Truth, day: date) -> None:
        """Let the nights since the last playing pass."""
        today = day.toordinal()
        if truth.day is not None and today > truth.day:
            truth.kept = self._retained(truth, float(today - truth.day))
            reached = self.reached(truth.worked, truth)
            truth.lost = reached - (reached - truth.lost) * truth.kept
            truth.visits, truth.visit_min = 0, 0.0
        truth.day = today if truth.day is None else max(truth.day, today)

    def _work(self, truth: Truth, minutes: float) -> None:
        """Learn anew what was lost first, `savings` times as fast; firm up the hold."""
        fresh = 1.0 - self.tired * min(self.into / 60.0, 1.0)
        before = self.reached(truth.worked, truth)
        truth.worked += minutes * fresh
        gained = self.reached(truth.worked, truth) - before
        back = (truth.savings - 1.0) * gained + truth.lost * minutes / COLD_RATE
        truth.lost = max(truth.lost - min(truth.lost, back), 0.0)
        self._firm(truth, minutes)
        truth.visit_min += minutes
        self.into += minutes

    def _firm(self, truth: Truth, minutes: float) -> None:
        start, end = truth.visit_min, truth.visit_min + minutes
        effect = math.exp(-start / FIRMING_MIN) - math.exp(-end / FIRMING_MIN)
        missing = 1.0 - truth.kept
        if self.law.growth == "first":
            amount = 0.0 if truth.visits > 1 else truth.growth * (0.3 + missing)
        elif self.law.growth == "every":
            amount = truth.growth * 0.8
        else:
            amount = truth.growth * missing
            effect = effect if truth.visits <= 1 else 0.5 * effect
        truth.hold = min(truth.hold * (1.0 + amount * effect), HOLD_MOST)


def _clean(skill: float, truth: Truth, shift: float = 0.0) -> float:
    return 1.0 / (1.0 + math.exp(-(truth.steep * (skill - truth.half) + shift)))


def drawn(seed: int, laws: tuple[Law, ...]) -> Law:
    """The law of a player: each of them in turn, so that few players see all."""
    return laws[seed % len(laws)]
