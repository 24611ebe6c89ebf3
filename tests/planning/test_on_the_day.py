"""What comes out on the date, against exact binomials of SciPy and against sampled truths."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from coldtake.planning import on_the_day
from coldtake.planning.on_the_day import came_out, day_chances, number_interval, room_logits


def numbers(n, p, draws=40_000):
    """The binomial's own quantiles: no sampling noise."""
    return binom.ppf((np.arange(draws) + 0.5) / draws, n, p).astype(int)


@pytest.mark.parametrize(("n", "p"), [(5, 0.5), (5, 0.9), (22, 0.7), (96, 0.4), (1, 0.6)])
def test_no_whole_number_interval_is_nearer_to_80_percent(n, p):
    found = number_interval(numbers(n, p), n)
    held = binom.cdf(found.high, n, p) - binom.cdf(found.low - 1, n, p)
    below, above = binom.cdf(found.low - 1, n, p), binom.sf(found.high, n, p)
    for low in range(n + 1):
        for high in range(low, n + 1):
            other = binom.cdf(high, n, p) - binom.cdf(low - 1, n, p)
            tails = abs(binom.cdf(low - 1, n, p) - binom.sf(high, n, p))
            worse = abs(other - 0.8) + 0.25 * tails
            assert abs(held - 0.8) + 0.25 * abs(below - above) <= worse + 1e-3
    assert found.low <= found.mid <= found.high


def test_many_steps_bring_it_to_80_percent():
    found = number_interval(numbers(96, 0.4), 96)
    held = binom.cdf(found.high, 96, 0.4) - binom.cdf(found.low - 1, 96, 0.4)
    assert held == pytest.approx(0.8, abs=0.02)


@given(st.lists(st.integers(0, 7), min_size=1, max_size=60))
def test_limits_are_numbers_that_there_are(seen):
    found = number_interval(np.array(seen), 7)
    assert 0.0 <= found.low <= found.mid <= found.high <= 7.0
    assert found.low == int(found.low)


def test_the_form_joins_all_steps_and_a_topics_error_its_own():
    final = np.full((4, 100_000), 0.6)
    moved = day_chances(room_logits(final, ["a", "a", "b", "b"]))
    logit = np.log(moved / (1.0 - moved))
    apart = np.cov(logit)
    assert logit.mean() == pytest.approx(on_the_day.SLOPE * np.log(1.5) + on_the_day.SHIFT, abs=0.1)
    shared = on_the_day.DAY_FORM_SD**2 + on_the_day.PLAYER_SD**2
    assert apart[0, 2] == pytest.approx(shared, rel=0.05)
    assert apart[0, 1] == pytest.approx(shared + on_the_day.TOPIC_SD**2, rel=0.05)
    by_itself = np.var(logit[0] - logit[1]) / 2.0
    assert by_itself == pytest.approx(on_the_day.STEP_SD**2, rel=0.05)


def test_a_topic_has_the_same_errors_beside_others_and_with_more_draws():
    final = np.full((2, 50), 0.7)
    alone = room_logits(final[:1, :20], ["b"])
    assert room_logits(final, ["a", "b"])[1, :20] == pytest.approx(alone[0])


def test_steps_come_out_as_often_as_their_chances_say():
    chances = np.tile([[0.1], [0.5], [0.9]], 20_000)
    share = came_out(chances, np.random.default_rng(3)).mean(axis=1)
    assert share == pytest.approx([0.1, 0.5, 0.9], abs=0.015)  # four standard errors
