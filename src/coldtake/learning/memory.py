"""Estimates of every step from the log alone; see law, prior, filter and beliefs for the model."""

from collections.abc import Collection
from datetime import date

import numpy as np

from coldtake.domain.criterion import Times
from coldtake.domain.estimate import Estimate, Interval
from coldtake.domain.history.state import State
from coldtake.domain.topic import StepPhase
from coldtake.learning import memory_law
from coldtake.learning.memory_law import Array
from coldtake.learning.posterior import Posterior, beliefs, cold_chances, enough, quantiles

SHARES = (0.1, 0.5, 0.9)  # an 80 % interval and its middle


_AT_ONCE = 128  # steps whose particles are held together


def estimates(state: State, on: date, only: Collection[str] | None = None) -> dict[str, Estimate]:
    """Estimate every step as it stands on a day, from the events up to and including that day.

    only : ids of the steps wanted, default all
    Where nothing is known the numbers are the first guess and `enough` is False.
    """
    ids = [i for i in state.steps if only is None or i in only]
    found: dict[str, Estimate] = {}
    for start in range(0, len(ids), _AT_ONCE):
        found |= _estimates(state, beliefs(state, on, ids[start : start + _AT_ONCE]))
    return found


def _estimates(state: State, b: Posterior) -> dict[str, Estimate]:
    clean = intervals(cold_chances(b), b.weight, mean=True)
    half_lives = intervals(b.half_life, b.weight)
    needs = intervals(minutes_to_met(state, b), b.weight)
    done = {StepPhase.MET, StepPhase.HELD}
    nothing = Interval(low=0.0, mid=0.0, high=0.0)
    return {
        step_id: Estimate(
            step_id=step_id,
            clean_cold=clean[i],
            half_life_days=half_lives[i],
            minutes_to_met=nothing if state.phase(step_id) in done else needs[i],
            cold_takes=b.filters[i].cold_takes,
            tries=b.filters[i].answers,
            enough=enough(b.filters[i]),
        )
        for i, step_id in enumerate(b.step_ids)
    }


def intervals(values: Array, weight: Array, *, mean: bool = False) -> list[Interval]:
    """Turn weighted particles (S, N) into one interval a row; the middle is median or mean."""
    low, mid, high = quantiles(values, weight, SHARES)
    if mean:
        mid = np.clip((values * weight).sum(axis=1), low, high)
    return [
        Interval(low=float(a), mid=float(m), high=float(z))
        for a, m, z in zip(low, mid, high, strict=True)
    ]


def met_chance(times: Times) -> float:
    """Chance of a clean try from which the criterion is passed about as often as not."""
    if times.among is not None:
        return min(max(times.wanted / times.among, 0.5), 0.9)
    return float(min(0.5 ** (1.0 / times.wanted), 0.9))


def minutes_to_met(state: State, b: Posterior) -> Array:
    """Minutes of work still expected by each particle (S, N) until the criterion is met."""
    kept = memory_law.retention(b.gap_days[:, None], b.half_life, b.cloud.psi)
    stored = b.skill * (1.0 - b.cloud.loss * (1.0 - kept))
    wanted = np.array([met_chance(state.steps[i].criterion.times) for i in b.step_ids])
    logit = np.log(wanted / (1.0 - wanted))[:, None]
    target = np.minimum((logit - memory_law.FLOOR) / b.cloud.span, 0.98)
    return memory_law.minutes_between(stored, target, b.rate, b.cloud.curve)
