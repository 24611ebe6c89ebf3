"""Runs of successes: W. Feller, An Introduction to Probability Theory and Its Applications, vol. I,
chapter XIII.7 (waiting times); values computed with exact fractions. Tries to the r-th yes against
the negative binomial of scipy.stats; the interval of a chance against scipy.stats' own.
"""

from fractions import Fraction

import pytest
from scipy.stats import binomtest, nbinom

from coldtake.domain.criterion import Times
from coldtake.learning import support

MEANS = {
    (2, 0.5): 6,
    (3, 0.5): 14,
    (5, 0.5): 62,
    (10, 0.5): 2046,
    (5, 0.6): 29.650206,
    (6, 1 / 6): 55986,
    (3, 0.8): 4.765625,
    (5, 0.8): 10.258789,
    (5, 0.9): 6.935088,
    (10, 0.9): 18.679720,
    (10, 0.95): 13.403651,
}
CHANCES = {
    (10, 3, 0.5): 0.5078125,
    (20, 5, 0.5): 0.2498703,
    (100, 5, 0.5): 0.810109599,
    (100, 10, 0.5): 0.044137229,
    (10, 5, 0.9): 0.885735,
    (20, 10, 0.9): 0.69735688,
    (5, 5, 0.8): 0.32768,
    (10, 5, 0.8): 0.65536,
}


@pytest.mark.parametrize(("run", "chance"), MEANS)
def test_mean_waiting_time(run, chance):
    assert support.run_waiting_mean(run, chance) == pytest.approx(MEANS[run, chance], rel=1e-6)


@pytest.mark.parametrize(("run", "variance"), [(2, 22), (3, 142), (5, 3390)])
def test_variance_of_the_waiting_time(run, variance):
    assert support.run_waiting_variance(run, 0.5) == pytest.approx(variance)


@pytest.mark.parametrize(("tries", "run", "chance"), CHANCES)
def test_chance_of_a_run(tries, run, chance):
    found = support.lucky_pass(Times(wanted=run), chance, tries)
    assert found == pytest.approx(CHANCES[tries, run, chance], abs=1e-6)


def brute_force(wanted, among, chance, tries):
    """Every series of answers, one after the other."""
    total = Fraction(0)
    p = Fraction(chance)
    for code in range(2**tries):
        answers = [code >> i & 1 for i in range(tries)]
        if any(sum(answers[max(i - among, 0) : i]) >= wanted for i in range(1, tries + 1)):
            total += p ** sum(answers) * (1 - p) ** (tries - sum(answers))
    return float(total)


@pytest.mark.parametrize(("wanted", "among", "tries"), [(2, 3, 6), (3, 4, 9), (4, 5, 10)])
def test_k_of_n_against_every_series(wanted, among, tries):
    found = support.lucky_pass(Times(wanted=wanted, among=among), 0.75, tries)
    assert found == pytest.approx(brute_force(wanted, among, "3/4", tries), rel=1e-12)


@pytest.mark.parametrize(
    "times", [Times(wanted=3), Times(wanted=2, among=4), Times(wanted=9, among=20)]
)
def test_all_at_once_are_those_one_by_one(times):
    found = support.lucky_passes(times, 0.4, 45)
    assert found == tuple(support.lucky_pass(times, 0.4, n) for n in range(1, 46))
    assert list(found) == sorted(found)


def test_k_of_k_is_k_in_a_row():
    among, run = Times(wanted=4, among=4), Times(wanted=4)
    for tries in (3, 4, 9, 60):
        found = support.lucky_pass(among, 0.5, tries)
        assert found == pytest.approx(support.lucky_pass(run, 0.5, tries), rel=1e-12)


def test_tries_to_the_third_yes():
    tries = support.tries_to_yes(3, 0.6, 0.8)
    assert nbinom.cdf(tries - 3, 3, 0.6) >= 0.8 > nbinom.cdf(tries - 4, 3, 0.6)


def test_exact_interval_is_clopper_and_pearsons():
    ours = support.exact_interval(7, 10)
    theirs = binomtest(7, 10).proportion_ci(0.8, method="exact")
    assert ours == pytest.approx((theirs.low, theirs.high), rel=1e-9)


def test_interval_narrows_and_keeps_its_order():
    few, many = support.clean_chance_interval(4, 5), support.clean_chance_interval(40, 50)
    assert many.high - many.low < few.high - few.low
    for known in (few, many, support.clean_chance_interval(0, 3), support.passed_supports(Times())):
        assert 0.0 <= known.low <= known.mid <= known.high <= 1.0
    with pytest.raises(ValueError, match="cannot be"):
        support.clean_chance_interval(4, 3)
