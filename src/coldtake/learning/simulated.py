"""Simulated players with hidden laws of learning, to measure the model and to fill the demo.

Two laws, neither of them the model's own (law.py), which never sees what is in here:

`power`      skill approaches its limit exponentially in minutes (Heathcote, Brown and Mewhort 2000)
             and fades as a power of the days, (1 + t / s) ** -d (Wixted and Ebbesen 1991); s grows
             with spaced days.
`half_life`  skill is a power function of the minutes worked (Newell and Rosenbloom 1981) and fades
             as 2 ** (-t / h) (Settles and Meeder 2016); h multiplies with every day of practice.

The forms have the sources above. All numbers are guesses of what is plausible for pieces of music,
spread widely: minutes until a step works 4 times in 5 (about the player's own guess, factor 1.5
either way; players differ by another 1.4), half of the skill gone after 4 to 30 days in the
beginning, 13 % of unclean tries called yes by the player, a form of the day of half a logit,
one day in eight missed, one in six cut short. Forgotten skill comes back `savings` times as fast.
"""

import hashlib
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

import numpy as np

from coldtake.domain.take import Answer
from coldtake.domain.topic import Step

Law = Literal["power", "half_life"]


@dataclass(slots=True)
class _Truth:
    """One step's hidden parameters and where it stands after its last playing."""

    pace: float
    limit: float
    steep: float
    half: float
    decay: float
    growth: float
    savings: float
    worked: float
    lost: float = 0.0
    hold: float = 5.0
    day: int | None = None
    played: float = 0.0
    kept: float = 1.0


@dataclass(slots=True)
class SimulatedPlayer:
    """A player whose skill is hidden. Same seed, same calls: the same player and answers.

    The truth of a step depends on the seed and the step's id, not on the order of first calls.
    `false_yes`, `false_no` : how often the player's own answer is wrong, each way
    """

    seed: int
    law: Law = "power"
    missed_share: float = 0.125
    cut_share: float = 0.17
    false_yes: float = field(init=False)
    false_no: float = field(init=False)
    _pace: float = field(init=False)
    _hold: float = field(init=False)
    _rng: np.random.Generator = field(init=False)
    _truths: dict[str, _Truth] = field(init=False, default_factory=dict)
    _forms: dict[int, float] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        """Draw the player."""
        rng = _generator(self.seed, "player")
        self.false_yes = float(rng.beta(4.0, 27.0))
        self.false_no = float(rng.beta(2.0, 38.0))
        self._pace = float(np.exp(rng.normal(0.0, 0.35)))
        self._hold = float(np.exp(rng.normal(0.0, 0.4)))
        self._rng = _generator(self.seed, "tries")

    def comes(self, day: date) -> bool:
        """Say whether the player practises on this day at all."""
        return bool(_generator(self.seed, "comes", day).random() >= self.missed_share)

    def stays(self, day: date, planned_min: float) -> float:
        """Minutes after which the player stops; the planned ones, or fewer on a day cut short."""
        rng = _generator(self.seed, "stays", day)
        cut = rng.random() < self.cut_share
        return float(planned_min * rng.uniform(0.3, 0.9)) if cut else planned_min

    def practise(self, step: Step, minutes: float, day: date) -> None:
        """Work on a step for so many minutes >= 0."""
        truth = self._truth(step)
        _wake(truth, self.law, day)
        _work(truth, self.law, minutes)

    def try_cold(self, step: Step, day: date) -> Answer:
        """Try once before any work and answer oneself; the try itself is half a minute of work."""
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
        return _clean(_skill(truth, self.law, float(gap)), truth)

    def _answer(self, step: Step, day: date, *, warm: bool, heard: bool) -> Answer:
        truth = self._truth(step)
        _wake(truth, self.law, day)
        shift = self._form(day) + (0.6 if warm else 0.0)
        clean = self._rng.random() < _clean(_skill(truth, self.law, 0.0), truth, shift)
        _work(truth, self.law, 0.5)
        wrong = (0.03, 0.03) if heard else (self.false_yes, self.false_no)
        slip = self._rng.random() < (wrong[1] if clean else wrong[0])
        return Answer.YES if bool(clean) != bool(slip) else Answer.NO

    def _form(self, day: date) -> float:
        key = day.toordinal()
        if key not in self._forms:
            self._forms[key] = float(_generator(self.seed, "form", day).normal(0.0, 0.5))
        return self._forms[key]

    def _truth(self, step: Step) -> _Truth:
        if step.id not in self._truths:
            self._truths[step.id] = self._drawn(step)
        return self._truths[step.id]

    def _drawn(self, step: Step) -> _Truth:
        rng = _generator(self.seed, "step", step.id)
        minutes = step.need_min * self._pace * float(np.exp(rng.normal(0.0, 0.4)))
        start = float(np.clip(rng.normal(0.1, 0.12), 0.0, 0.6))
        limit = float(rng.uniform(0.92, 1.0))
        truth = _Truth(
            pace=minutes,
            limit=limit,
            steep=float(rng.uniform(6.5, 9.0)),
            half=float(rng.uniform(0.48, 0.6)),
            decay=float(rng.uniform(0.3, 0.6)),
            growth=float(rng.uniform(1.0, 3.0)),
            savings=float(rng.uniform(1.5, 3.0)),
            worked=0.0,
            hold=float(np.exp(rng.normal(np.log(3.0), 0.4))) * self._hold,
        )
        if self.law == "half_life":
            truth.hold = float(np.exp(rng.normal(np.log(9.0), 0.45))) * self._hold
            truth.growth = float(rng.uniform(0.15, 0.5))
        truth.worked = _minutes_at(start, truth, self.law)
        return truth


def _generator(seed: int, *words: object) -> np.random.Generator:
    text = "\x1f".join(str(w) for w in (seed, *words))
    return np.random.default_rng(int.from_bytes(hashlib.sha256(text.encode()).digest()[:8], "big"))


def _clean(skill: float, truth: _Truth, shift: float = 0.0) -> float:
    return float(1.0 / (1.0 + np.exp(-(truth.steep * (skill - truth.half) + shift))))


def _reached(worked: float, truth: _Truth, law: Law) -> float:
    """Skill right after so many minutes in all. `pace` minutes lead to about 80 % clean."""
    if law == "power":
        return truth.limit * float(1.0 - np.exp(-1.5 * worked / truth.pace))
    return truth.limit * float(1.0 - (1.0 + 1.8 * worked / truth.pace) ** -1.45)


def _minutes_at(skill: float, truth: _Truth, law: Law) -> float:
    left = 1.0 - min(skill / truth.limit, 0.999)
    if law == "power":
        return float(-truth.pace / 1.5 * np.log(left))
    return float(truth.pace / 1.8 * (left ** (-1.0 / 1.45) - 1.0))


def _retained(truth: _Truth, law: Law, days: float) -> float:
    if law == "power":
        return float((1.0 + days / truth.hold) ** -truth.decay)
    return float(2.0 ** (-days / truth.hold))


def _skill(truth: _Truth, law: Law, more_days: float) -> float:
    reached = _reached(truth.worked, truth, law)
    return (reached - truth.lost) * _retained(truth, law, more_days)


def _wake(truth: _Truth, law: Law, day: date) -> None:
    """Let the nights since the last playing pass; the half-life grows with the day's work."""
    today = day.toordinal()
    if truth.day is not None and today > truth.day:
        truth.kept = _retained(truth, law, float(today - truth.day))
        reached = _reached(truth.worked, truth, law)
        truth.lost = reached - (reached - truth.lost) * truth.kept
        truth.played = 0.0
    elif truth.day is None:
        truth.kept = 0.5
    truth.day = today if truth.day is None else max(truth.day, today)


def _work(truth: _Truth, law: Law, minutes: float) -> None:
    """Learn anew what was lost first, `savings` times as fast as the rest; firm up the hold."""
    before = _reached(truth.worked, truth, law)
    truth.worked += minutes
    gained = _reached(truth.worked, truth, law) - before
    back = min(truth.lost, (truth.savings - 1.0) * gained + truth.lost * minutes / 12.0)
    truth.lost = max(truth.lost - back, 0.0)
    effect = np.exp(-truth.played / 4.0) - np.exp(-(truth.played + minutes) / 4.0)
    if law == "power":
        truth.hold *= float(1.0 + truth.growth * (1.0 - truth.kept) * effect)
    else:
        truth.hold *= float(1.0 + truth.growth * (0.3 + (1.0 - truth.kept)) * effect)
    truth.hold = min(truth.hold, 400.0)
    truth.played += minutes
