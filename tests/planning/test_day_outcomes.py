"""What comes out on the date, against exact binomials of SciPy and against sampled truths."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from coldtake.planning.value import day_outcomes
from coldtake.planning.value.day_outcomes import (
    day_chances,
    number_interval,
    number_shares,
    room_logits,
)


def shares(n, p):
    return binom.pmf(np.arange(n + 1), n, p)


@pytest.mark.parametrize(("n", "p"), [(5, 0.5), (22, 0.7), (96, 0.4)])
def test_no_whole_number_interval_is_nearer_to_80_percent(n, p):
    found = number_interval(shares(n, p))
    held = binom.cdf(found.high, n, p) - binom.cdf(found.low - 1, n, p)
    below, above = binom.cdf(found.low - 1, n, p), binom.sf(found.high, n, p)
    for low in range(n + 1):
        for high in range(low, n + 1):
            other = binom.cdf(high, n, p) - binom.cdf(low - 1, n, p)
            tails = abs(binom.cdf(low - 1, n, p) - binom.sf(high, n, p))
            worse = abs(other - 0.8) + 0.25 * tails
            assert abs(held - 0.8) + 0.25 * abs(below - above) <= worse + 1e-3
    assert found.mid == binom.median(n, p)


def test_many_steps_bring_it_to_80_percent():
    found = number_interval(shares(96, 0.4))
    held = binom.cdf(found.high, 96, 0.4) - binom.cdf(found.low - 1, 96, 0.4)
    assert held == pytest.approx(0.8, abs=0.02)


def test_a_week_where_all_and_none_are_both_likely():
    """Steps that hang together: 10 of 12 by the middle, all 12 in 24 of 100 (a lived week)."""
    share = np.array([0.09, 0.02, 0.02, 0.02, 0.02, 0.03, 0.03, 0.04, 0.05, 0.07, 0.14, 0.23, 0.24])
    assert number_interval(share).high == 12


@given(
    st.lists(st.lists(st.floats(0.0, 1.0), min_size=3, max_size=3), min_size=1, max_size=14).map(
        np.array
    )
)
def test_the_interval_and_the_chances_beside_it_tell_one_story(chances):
    share = number_shares(chances)
    assert share.sum() == pytest.approx(1.0)
    assert share[-1] == pytest.approx(chances.prod(axis=0).mean())
    assert share[0] == pytest.approx((1.0 - chances).prod(axis=0).mean())
    found = number_interval(share)
    assert 0 <= found.low <= found.mid <= found.high <= len(chances)
    if share[-1] > 0.1001:
        assert found.high == len(chances)
    if share[0] > 0.1001:
        assert found.low == 0


@given(st.floats(0.01, 0.99), st.integers(1, 40))
def test_steps_alike_make_a_binomial(p, n):
    assert number_shares(np.full((n, 2), p)) == pytest.approx(shares(n, p))


def test_the_form_joins_all_steps_and_a_topics_error_its_own():
    final = np.full((4, 100_000), 0.6)
    moved = day_chances(room_logits(final, ["a", "a", "b", "b"]))
    logit = np.log(moved / (1.0 - moved))
    apart = np.cov(logit)
    assert logit.mean() == pytest.approx(
        day_outcomes.SLOPE * np.log(1.5) + day_outcomes.SHIFT, abs=0.1
    )
    shared = day_outcomes.DAY_FORM_SD**2 + day_outcomes.PLAYER_SD**2
    assert apart[0, 2] == pytest.approx(shared, rel=0.05)
    assert apart[0, 1] == pytest.approx(shared + day_outcomes.TOPIC_SD**2, rel=0.05)
    by_itself = np.var(logit[0] - logit[1]) / 2.0
    assert by_itself == pytest.approx(day_outcomes.STEP_SD**2, rel=0.05)


def test_a_topic_has_the_same_errors_beside_others_and_with_more_draws():
    final = np.full((2, 50), 0.7)
    alone = room_logits(final[:1, :20], ["b"])
    assert room_logits(final, ["a", "b"])[1, :20] == pytest.approx(alone[0])
