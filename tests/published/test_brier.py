"""What a score and an interval of chances must be, from outside.

A. H. Murphy 1973, A New Vector Partition of the Probability Score, Journal of Applied Meteorology
12:595: the score is reliability - resolution + uncertainty (the partition is from memory; a test
may stand on it because it is an identity, derived here from the definitions).
L. D. Brown, T. T. Cai and A. DasGupta 2001, Interval Estimation for a Binomial Proportion,
Statistical Science 16:101, Table 5, Jeffreys intervals of 95 % (from memory; the same numbers
follow from the quantiles of the beta distribution, which scipy.stats gives).
"""

import math

import numpy as np
import pytest
from scipy import stats

from coldtake.learning import calibration as cal
from coldtake.learning import support

TABLE_5 = {(0, 7): (0.0, 0.292), (1, 7): (0.016, 0.501), (2, 7): (0.065, 0.648)}


@pytest.mark.parametrize(("yeses", "tries"), TABLE_5)
def test_the_interval_of_few_answers_is_jeffreys(yeses, tries):
    found = support.clean_chance_interval(yeses, tries, share=0.95)
    assert (found.low, found.high) == pytest.approx(TABLE_5[yeses, tries], abs=6e-4)


@pytest.mark.parametrize(("yeses", "tries"), [(1, 2), (4, 5), (9, 10), (30, 44)])
def test_the_interval_against_the_quantiles_of_scipy(yeses, tries):
    found = support.clean_chance_interval(yeses, tries)
    known = stats.beta(yeses + 0.5, tries - yeses + 0.5).ppf([0.1, 0.5, 0.9])
    assert [found.low, found.mid, found.high] == pytest.approx(list(known), rel=1e-9)


def told(count=400, seed=3):
    rng = np.random.default_rng(seed)
    said = rng.choice([0.15, 0.35, 0.55, 0.75, 0.95], size=count)
    return [(float(p), bool(rng.random() < p)) for p in said]


def test_murphys_partition_of_the_score():
    pairs = told()
    groups, of = cal.groups(pairs), len(pairs)
    base = sum(clean for _, clean in pairs) / of
    reliability = math.fsum(g.of * (g.said - g.came / g.of) ** 2 for g in groups) / of
    resolution = math.fsum(g.of * (g.came / g.of - base) ** 2 for g in groups) / of
    assert len(groups) == 5
    assert cal.brier(pairs) == pytest.approx(reliability - resolution + base * (1 - base))


def test_the_constant_guess_is_the_variance_of_what_came():
    found = cal.calibration(told())
    assert found.constant == pytest.approx(found.came / found.of * (1 - found.came / found.of))
    assert found.better.mid == pytest.approx(found.constant - found.brier)


def test_the_gain_has_the_interval_of_a_mean():
    pairs = told()
    found = cal.calibration(pairs)
    base = found.came / found.of
    gains = [(base - clean) ** 2 - (said - clean) ** 2 for said, clean in pairs]
    low, high = stats.norm.interval(0.8, loc=np.mean(gains), scale=stats.sem(gains))
    assert (found.better.low, found.better.high) == pytest.approx((low, high), rel=1e-9)


def test_a_line_of_the_table_has_clopper_and_pearsons_limits():
    for group in cal.groups(told(60)):
        if group.share:
            known = stats.binomtest(group.came, group.of).proportion_ci(0.8, method="exact")
            assert group.share == pytest.approx((known.low, known.high), rel=1e-9)
