"""How fast an exercise comes out clean, day after day, and where that leads.

The time for a beat falls exponentially towards a limit, seconds = limit + gap * exp(-rate * days):
single learners' times are fitted better by it than by a power law (Heathcote, Brown and Mewhort
2000, Psychonomic Bulletin and Review 7:185, 40 data sets). There the clock is the number of
trials, here it is days: the outlook holds for somebody who goes on practising as before.

Of each day only the fastest clean tempo counts, for the player chooses how fast to try. Limit, gap
and rate are weighed on a grid; the scatter about the curve is integrated out (scaled inverse
chi-squared prior: Gelman et al. 2013, Bayesian Data Analysis, section 3.2). With few takes the
prior speaks, and the intervals are wide. Its numbers are guesses.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Self

import numpy as np

from coldtake.domain.estimate import Interval
from coldtake.learning.memory_law import Array

LEAST_DAYS = 4  # days with a clean take below which there are "not enough takes yet"
LEAST_SPAN_DAYS = 6  # between the first of them and the last
HORIZON_DAYS = 365  # a goal further off than this is not in sight

HALF_MID_DAYS, HALF_SD = 14.0, 1.0  # days to half of the way, and sd of their log; a guess
HEADROOM = 0.4  # mean log of limit over the fastest clean tempo so far; a guess
SCATTER, SCATTER_DAYS = 0.04, 4.0  # sd of a day about the curve, and what that guess weighs
SHARES = (0.1, 0.5, 0.9)

_HALVES = np.geomspace(2.0, 120.0, 28)
_LIMITS = np.linspace(-0.05, 1.0, 36)  # log of limit tempo over the fastest one
_STARTS = np.linspace(0.0, 1.2, 30)  # log of limit tempo over the first day's


@dataclass(frozen=True, slots=True)
class TempoProgress:
    """What the clean tempos of one exercise support. Days count from the first of them.

    limit_bpm : where the tempo leads; half_days : days in which half of what is missing comes
    first_day, last_day : of the clean takes (ordinals); days : with a clean take
    """

    limit_bpm: Interval
    half_days: Interval
    first_day: int
    last_day: int
    days: int
    _weight: Array
    _limit_s: Array
    _gap_s: Array
    _rate: Array

    def tempo_on(self, day: int) -> Interval:
        """Clean tempo on a day (ordinal), in beats a minute: of the curve, not of a single take."""
        seconds = self._limit_s + self._gap_s * np.exp(-self._rate * (day - self.first_day))
        return _interval(60.0 / seconds, self._weight)

    def day_of(self, goal_bpm: float) -> tuple[int | None, int | None, int | None]:
        """Days (ordinals) on which `goal_bpm` > 0 is reached: early, middle, late of 80 %.

        None : not within HORIZON_DAYS after the last take, or beyond the limit
        """
        over = 60.0 / goal_bpm - self._limit_s
        with np.errstate(divide="ignore", invalid="ignore"):
            days = np.log(self._gap_s / over) / self._rate
        days = np.where(over <= 0.0, np.inf, np.maximum(np.nan_to_num(days, nan=0.0), 0.0))
        early, middle, late = (self._day(d) for d in _quantiles(days, self._weight))
        return early, middle, late

    def chance_of(self, goal_bpm: float, day: int) -> float:
        """Chance that the curve has reached `goal_bpm` on a day (ordinal)."""
        seconds = self._limit_s + self._gap_s * np.exp(-self._rate * (day - self.first_day))
        return float(self._weight[seconds <= 60.0 / goal_bpm].sum())

    def _day(self, days: float) -> int | None:
        last = self.last_day - self.first_day + HORIZON_DAYS
        return self.first_day + int(np.ceil(days - 1e-9)) if days <= last else None

    @classmethod
    def of(cls, days: Sequence[int], tempi_bpm: Sequence[float]) -> Self | None:
        """Fit the clean takes of one exercise; None: not enough takes yet.

        days : ordinal of each clean take, in any order; tempi_bpm : > 0, in one beat unit
        """
        fastest = _fastest(days, tempi_bpm)
        on = sorted(fastest)
        if len(on) < LEAST_DAYS or on[-1] - on[0] < LEAST_SPAN_DAYS:
            return None
        seconds = np.array([60.0 / fastest[d] for d in on])
        limit, gap, rate, prior = _grid()
        unit = float(seconds.min())
        curves = _curves(np.array(on, dtype=float) - on[0])
        weight = _posterior(prior, curves, seconds / unit)
        return cls(
            limit_bpm=_interval(60.0 / (limit * unit), weight),
            half_days=_interval(np.log(2.0) / rate, weight),
            first_day=on[0],
            last_day=on[-1],
            days=len(on),
            _weight=weight,
            _limit_s=limit * unit,
            _gap_s=gap * unit,
            _rate=rate,
        )


def _fastest(days: Sequence[int], tempi_bpm: Sequence[float]) -> dict[int, float]:
    if len(days) != len(tempi_bpm):
        raise ValueError(f"{len(days)} days do not go with {len(tempi_bpm)} tempos")
    fastest: dict[int, float] = {}
    for day, tempo in zip(days, tempi_bpm, strict=True):
        if not tempo > 0.0:
            raise ValueError(f"a tempo of {tempo} beats a minute cannot be")
        fastest[day] = max(fastest.get(day, 0.0), tempo)
    return fastest


@lru_cache(maxsize=1)
def _grid() -> tuple[Array, Array, Array, Array]:
    """Limit and gap in units of the fastest beat, rate per day, log prior; all (G,)."""
    half, over, start = (a.ravel() for a in np.meshgrid(_HALVES, _LIMITS, _STARTS, indexing="ij"))
    limit = np.exp(-over)
    prior = -0.5 * (np.log(half / HALF_MID_DAYS) / HALF_SD) ** 2 - np.maximum(over, 0.0) / HEADROOM
    return limit, limit * np.expm1(start), np.log(2.0) / half, prior


def _curves(since: Array) -> Array:
    """Seconds for a beat on each day, in units of the fastest one: (G, D)."""
    limit, gap, _rate, _prior = _grid()
    faded = np.exp(-np.outer(np.log(2.0) / _HALVES, since))
    each = np.repeat(faded, len(_LIMITS) * len(_STARTS), axis=0)
    return np.asarray(limit[:, None] + gap[:, None] * each)


def _posterior(prior: Array, curves: Array, seconds: Array) -> Array:
    off = np.log(curves / seconds[None, :])
    spread = SCATTER_DAYS * SCATTER**2 + (off**2).sum(axis=1)
    log_weight = prior - 0.5 * (SCATTER_DAYS + len(seconds)) * np.log(spread)
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())


def _quantiles(values: Array, weight: Array) -> tuple[float, float, float]:
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(weight[order])
    low, mid, high = (
        float(values[order[min(int(np.searchsorted(reached, s)), len(order) - 1)]]) for s in SHARES
    )
    return low, mid, high


def _interval(values: Array, weight: Array) -> Interval:
    low, mid, high = _quantiles(values, weight)
    return Interval(low=low, mid=mid, high=high)
