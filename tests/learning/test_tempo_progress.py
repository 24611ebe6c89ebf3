"""Clean tempo towards a limit: A. Heathcote, S. Brown and D. J. K. Mewhort 2000, The power law
repealed, Psychonomic Bulletin and Review 7:185-207: time = A + B exp(-alpha N) for one learner.

The curves are made here from that formula; SciPy's curve_fit is the second opinion.
"""

import numpy as np
import pytest
from scipy.optimize import curve_fit

from coldtake.learning.tempo_progress import LEAST_DAYS, TempoProgress

FIRST = 739_000


def exponential(n, a, b, alpha):
    return a + b * np.exp(-alpha * n)


def tempi(days, limit=120.0, start=60.0, half=10.0, scatter=0.0, rng=None):
    a, b = 60.0 / limit, 60.0 / start - 60.0 / limit
    seconds = exponential(np.asarray(days, dtype=float), a, b, np.log(2.0) / half)
    noise = rng.normal(0.0, scatter, len(seconds)) if rng else 0.0
    return 60.0 / seconds * np.exp(noise)


def told(days, values):
    return TempoProgress.of([FIRST + d for d in days], list(values))


def test_few_days_are_not_enough():
    assert told([0, 3, 8], [60, 65, 70]) is None
    assert told([0, 1, 2, 3], [60, 62, 64, 66]) is None  # four days, but all in one week
    assert told([0, 8] * 5, [60, 70] * 5) is None
    assert told(range(0, 3 * LEAST_DAYS, 3), [60, 65, 70, 73]) is not None


def test_many_takes_bring_out_the_curve_that_scipy_finds():
    days = np.arange(0, 60, 2)
    rng = np.random.default_rng(4)
    values = tempi(days, scatter=0.01, rng=rng)
    (a, b, alpha), _ = curve_fit(exponential, days, 60.0 / values, p0=(0.5, 0.5, 0.05))
    found = told(days, values)
    assert found.limit_bpm.mid == pytest.approx(60.0 / a, rel=0.05)
    assert found.half_days.mid == pytest.approx(np.log(2.0) / alpha, rel=0.25)
    assert found.tempo_on(FIRST + 30).mid == pytest.approx(
        60.0 / exponential(30.0, a, b, alpha), rel=0.02
    )


def test_intervals_hold_what_they_say_for_learners_of_that_kind():
    """80 intervals of 80 %: binomial sd .045, so .65 to .95 is over three of them."""
    rng, limits, later = np.random.default_rng(11), [], []
    for _ in range(80):
        limit, start = rng.uniform(90, 160), rng.uniform(45, 75)
        half = float(np.exp(rng.normal(np.log(14.0), 0.7)))
        days = np.sort(rng.choice(30, 12, replace=False))
        found = told(days, tempi(days, limit, start, half, 0.04, rng))
        aim = float(tempi([45], limit, start, half)[0])
        limits.append(found.limit_bpm.low <= limit <= found.limit_bpm.high)
        on = found.tempo_on(FIRST + 45)
        later.append(on.low <= aim <= on.high)
    assert 0.65 <= np.mean(limits) <= 0.95
    assert 0.65 <= np.mean(later) <= 0.95


def test_a_goal_within_reach_has_its_days_and_one_beyond_has_none():
    days = np.arange(0, 60, 2)
    found = told(days, tempi(days, scatter=0.01, rng=np.random.default_rng(2)))
    early, middle, late = found.day_of(100.0)
    true = 10.0 * np.log2((1.0 - 0.5) / (0.6 - 0.5))  # from 60 to 100 towards 120
    assert early <= middle <= late
    assert middle - FIRST == pytest.approx(true, abs=2.0)
    assert found.day_of(200.0) == (None, None, None)
    assert found.day_of(30.0) == (FIRST, FIRST, FIRST)
    assert found.chance_of(100.0, late + 5) > 0.9 > 0.1 > found.chance_of(100.0, early - 5)


def test_a_tempo_that_does_not_move_is_its_own_limit():
    found = told(range(0, 60, 3), [80.0] * 20)
    assert found.tempo_on(FIRST + 80).mid == pytest.approx(80.0, rel=0.03)
    assert found.limit_bpm.low >= 78.0


def test_only_the_fastest_clean_take_of_a_day_counts():
    days = list(range(0, 30, 3))
    fast = told(days, tempi(days))
    slow_too = told(days * 2, [*tempi(days), *(tempi(days) * 0.6)])
    assert slow_too.limit_bpm == fast.limit_bpm


def test_faster_takes_never_give_a_slower_outlook():
    days = list(range(0, 30, 3))
    values = tempi(days)
    slower, faster = told(days, values), told(days, values * 1.1)
    assert faster.tempo_on(FIRST + 60).mid == pytest.approx(1.1 * slower.tempo_on(FIRST + 60).mid)


def test_wrong_input_is_refused():
    with pytest.raises(ValueError, match="cannot be"):
        told([0, 3, 6, 9], [60, 0, 70, 80])
    with pytest.raises(ValueError, match="do not go with"):
        told([0, 3], [60.0])
