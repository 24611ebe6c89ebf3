"""The law by which the model thinks a step is learned and forgotten.

Accessible skill x lies in 0..1; a cold take is clean with chance sigmoid(FLOOR + span * x).

Forgetting   x(t) = x(0) * (1 + k t / h) ** -psi, k = 2 ** (1/psi) - 1, so that h is the half-life
             in days. The form is Wickelgren's, m = lambda (1 + beta t) ** -psi (given in Wixted and
             Carpenter 2007, Psychological Science 18:133); for large psi it becomes the exponential
             2 ** (-t / h) of Settles and Meeder 2016, ACL, p. 1848.
Learning     dx/dm = r (1 - x) ** curve per minute m: curve 1 is the exponential approach to a limit
             (Heathcote, Brown and Mewhort 2000, Psychonomic Bulletin and Review 7:185), above 1 the
             power law (Newell and Rosenbloom 1981).
Spacing      the half-life grows with each day of practice, the more the more had been forgotten
             (direction: Cepeda et al. 2008, Psychological Science 19:1095); the amount is a guess.
Savings      a few minutes bring back most of what was only out of reach (Ebbinghaus 1885, savings);
             the share `loss` of it must be learned anew; the amount is a guess.

All functions take and give NumPy arrays that broadcast; days and minutes are >= 0.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FLOOR = -4.0  # logit of a clean cold take with no skill at all (2 %); a guess
SPAN = 7.2  # logits between no skill and the limit of an average step (96 %); a guess
CONSOLIDATION_MIN = (
    4.0  # minutes that bring 63 % of what a day of work does for the half-life; a guess
)
HALF_LIFE_MOST = 600.0  # days; beyond this the log of a player cannot tell
SKILL_MOST = 0.9995


@dataclass(frozen=True, slots=True)
class LawParameters:
    """One way of learning and forgetting. The model weighs several and is never told which.

    recovery_min : minutes that bring back 63 % of what is out of reach
    """

    name: str
    psi: float
    curve: float
    growth: float
    loss: float
    recovery_min: float

    @property
    def kinds(self) -> tuple[float, float, float, float, float]:
        """The numbers that `after_day` takes."""
        return self.psi, self.curve, self.growth, self.loss, self.recovery_min


# What shapes differ in most is how fast the half-life grows; loss and bend can hardly be told apart
# from a log. The numbers are guesses, tried on simulated players of two laws (bench/learning).
SHAPES: tuple[LawParameters, ...] = (
    LawParameters("power, hardly growing", 0.6, 1.0, 0.3, 0.15, 3.5),
    LawParameters("power, slow growth", 0.6, 1.0, 0.9, 0.15, 3.5),
    LawParameters("power, growing", 0.6, 1.0, 2.2, 0.15, 3.5),
    LawParameters("power, fast growth", 0.6, 1.0, 5.0, 0.15, 3.5),
    LawParameters("nearly exponential, bent, hardly growing", 3.0, 1.5, 0.3, 0.15, 3.5),
    LawParameters("nearly exponential, bent, slow growth", 3.0, 1.5, 0.9, 0.15, 3.5),
    LawParameters("nearly exponential, bent, growing", 3.0, 1.5, 2.2, 0.15, 3.5),
    LawParameters("nearly exponential, bent, fast growth", 3.0, 1.5, 5.0, 0.15, 3.5),
)


def clean_chance(skill: Array, span: Array | float = SPAN) -> Array:
    """Chance of a clean cold take at an accessible skill."""
    return np.asarray(1.0 / (1.0 + np.exp(-(FLOOR + span * skill))))


def retention(days: Array | float, half_life: Array, psi: Array | float) -> Array:
    """Share of the skill still accessible after so many days without playing."""
    k = np.exp2(1.0 / np.asarray(psi)) - 1.0
    return np.asarray((1.0 + k * days / half_life) ** -np.asarray(psi))


def learned(skill: Array, minutes: Array | float, rate: Array, curve: Array | float) -> Array:
    """Skill after so many minutes of work (rate per minute)."""
    left = 1.0 - np.minimum(skill, SKILL_MOST)
    dose = np.asarray(rate * minutes)
    power = np.maximum(np.asarray(curve, dtype=float) - 1.0, 1e-9)
    bent = left * (1.0 + power * dose * left**power) ** (-1.0 / power)
    straight = left * np.exp(-dose)
    return np.asarray(1.0 - np.where(np.asarray(curve) > 1.0, bent, straight))


def minutes_between(skill: Array, wanted: Array, rate: Array, curve: Array) -> Array:
    """Minutes of work that lead from one skill to another; 0 when it is already there."""
    start = 1.0 - np.minimum(skill, SKILL_MOST)
    end = 1.0 - np.minimum(wanted, SKILL_MOST)
    power = np.maximum(curve - 1.0, 1e-9)
    bent = (end**-power - start**-power) / power
    dose = np.where(curve > 1.0, bent, np.log(start / end))
    return np.asarray(np.maximum(dose, 0.0) / rate)


def grown(half_life: Array, kept: Array, minutes: Array | float, growth: Array | float) -> Array:
    """Half-life after a day with so many minutes, when the share `kept` had been retained."""
    effect = 1.0 - np.exp(-np.asarray(minutes) / CONSOLIDATION_MIN)
    return np.asarray(
        np.minimum(half_life * (1.0 + growth * (1.0 - kept) * effect), HALF_LIFE_MOST)
    )


def after_day(
    skill: Array,
    half_life: Array,
    days: Array | float,
    minutes: Array | float,
    rate: Array,
    kinds: tuple[Array | float, Array | float, Array | float, Array | float, Array | float],
) -> tuple[Array, Array]:
    """Skill and half-life after `days` without playing and then `minutes` > 0 of work.

    kinds : (psi, curve, growth, loss, recovery_min), numbers or arrays
    """
    psi, curve, growth, loss, recovery_min = kinds
    kept = retention(days, half_life, psi)
    missing = 1.0 - kept
    stored = skill * (1.0 - loss * missing)
    access = kept / (1.0 - loss * missing)
    access = 1.0 - (1.0 - access) * np.exp(-np.asarray(minutes) / recovery_min)
    return (
        learned(stored, minutes, rate, curve) * access,
        grown(half_life, kept, minutes, growth),
    )
