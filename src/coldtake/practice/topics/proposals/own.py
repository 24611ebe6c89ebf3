"""What the player's own log says about how long bars take: the guess from the page, corrected.

For every stretch of bars whose steps were all met, y is the logarithm of the minutes really played
until then over the minutes that the page alone suggests, and x its hardness. Bayesian linear
regression of y on x (conjugate, known noise: Gelman et al., Bayesian Data Analysis, 3rd ed., 2013,
section 14.8) with a prior that leaves the guess as it is: few stretches move it little. The sizes
of prior and noise are guesses, no source.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from coldtake.domain.criterion import ConditionsTest
from coldtake.domain.history.state import State
from coldtake.domain.topic import Step, StepPhase
from coldtake.music.exercises.hardness import hardness
from coldtake.music.passage import Passage
from coldtake.practice.topics.proposals.laying import LEAST_MIN, MOST_MIN, guess_min

_MIDDLE = 0.25  # hardness around which the line turns
_LEVEL_SD, _SLOPE_SD, _NOISE_SD = 0.5, 1.5, 0.6  # of logarithms of minutes
_MOST = 3.0  # the guess is corrected by no more than this factor, either way
STRETCHES_MOST = 40  # the newest are looked at
_BARS_MOST = 32  # longer is a whole piece, not a stretch
_FALLBACK_BPM = 72.0
Read = Callable[[str], Passage]


@dataclass(frozen=True, slots=True)
class OwnNeed:
    """Correction learnt from `stretches`: level and slope of the logarithm over hardness."""

    level: float = 0.0
    slope: float = 0.0
    stretches: int = 0

    def factor(self, hard: float) -> float:
        """What the guess for bars of a hardness is multiplied by."""
        told = math.exp(self.level + self.slope * (hard - _MIDDLE))
        return min(max(told, 1 / _MOST), _MOST)

    def need(self, bars: float, hard: float, share: float = 1.0) -> int:
        """Estimate of the minutes of work; hardness 0 to 1, share of the whole way."""
        minutes = guess_min(bars, hard) * share * self.factor(hard)
        return round(max(LEAST_MIN, min(MOST_MIN, minutes)))

    def words(self) -> tuple[str, ...]:
        """How far the log was heard."""
        if not self.stretches:
            return ()
        easy, tough = self.factor(0.1), self.factor(0.5)
        many = "stretch" if self.stretches == 1 else "stretches"
        return (
            (
                f"The minutes follow your own log ({self.stretches} {many} of bars met): "
                f"times {easy:.1f} where it is easy, times {tough:.1f} where it is hard."
            ),
        )


def fitted(points: Iterable[tuple[float, float]]) -> OwnNeed:
    """The correction from (hardness, log of real over guessed minutes) of each stretch."""
    pairs = [(x - _MIDDLE, y) for x, y in points]
    noise = _NOISE_SD**2
    a = len(pairs) / noise + 1 / _LEVEL_SD**2
    b = sum(x for x, _ in pairs) / noise
    d = sum(x * x for x, _ in pairs) / noise + 1 / _SLOPE_SD**2
    u, v = sum(y for _, y in pairs) / noise, sum(x * y for x, y in pairs) / noise
    size = a * d - b * b  # > 0: the prior sees to it
    return OwnNeed((d * u - b * v) / size, (a * v - b * u) / size, len(pairs))


def own_need(state: State, read: Read) -> OwnNeed:
    """What the log says. read : gives the passage of an id; one that is gone is passed over."""
    rated: dict[tuple[str, float], tuple[float, ...]] = {}
    points = []
    for steps in _stretches(state):
        ref = steps[0].exercise.passage
        minutes = _minutes(state, steps)
        if ref is None or minutes <= 0:
            continue
        bpm = max(s.exercise.tempo_bpm or _FALLBACK_BPM for s in steps)
        key = (ref.passage_id, bpm)
        if key not in rated:
            rated[key] = tuple(bar.value for bar in hardness(read(ref.passage_id), bpm))
        own = rated[key][(ref.first_bar or 1) - 1 : ref.last_bar]
        if own:
            hard = sum(own) / len(own)
            points.append((hard, math.log(minutes / guess_min(len(own), hard))))
    return fitted(points)


def _stretches(state: State) -> list[list[Step]]:
    """Steps on the same bars of a topic, all met; newest last."""
    groups: dict[tuple[str, str, int, int], list[Step]] = {}
    for step in state.steps.values():
        ref = step.exercise.passage
        bounded = ref is not None and ref.first_bar is not None and ref.last_bar is not None
        stated = any(isinstance(t, ConditionsTest) for t in step.criterion.tests)
        if ref is None or not bounded or stated:
            continue
        first, last = ref.first_bar or 1, ref.last_bar or 1
        if last - first < _BARS_MOST:
            groups.setdefault((step.topic_id, ref.passage_id, first, last), []).append(step)
    met = [g for g in groups.values() if all(_met_on(state, s) is not None for s in g)]
    return met[-STRETCHES_MOST:]


def _met_on(state: State, step: Step) -> object | None:
    changes = state.mark(step.id).changes
    return next((day for day, phase in changes if phase is StepPhase.MET), None)


def _minutes(state: State, steps: list[Step]) -> float:
    """Minutes played on them until each was met."""
    total = 0.0
    for step in steps:
        day = next(d for d, phase in state.mark(step.id).changes if phase is StepPhase.MET)
        total += sum(work.minutes for work in state.past(step.id).works if work.day <= day)
    return total
