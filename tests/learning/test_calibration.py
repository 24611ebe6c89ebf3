"""Chances held against answers: what is said, and what is not said yet."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldtake.domain.estimate import Interval
from coldtake.learning import calibration as cal
from coldtake.learning.calibration import IntervalOutcome, interval_kept

PAIRS = st.lists(st.tuples(st.floats(0, 1), st.booleans()), min_size=1, max_size=60)


@settings(deadline=None)
@given(PAIRS)
def test_every_answer_stands_in_one_line(pairs):
    groups = cal.groups(pairs)
    assert sum(g.of for g in groups) == len(pairs)
    assert sum(g.came for g in groups) == sum(clean for _, clean in pairs)
    for group in groups:
        assert group.low - 1e-9 <= group.said <= group.high + 1e-9
        assert (group.share is None) == (group.of < cal.LEAST_IN_GROUP) == (group.fits is None)


def test_three_tenths_is_said_between_thirty_and_forty():
    """0.3 * 10 is 3.0000000000000004 or less, by the machine; a person says 30 to 40 %."""
    for tenths in range(10):
        [group] = cal.groups([(tenths / 10, True)])
        assert group.low == tenths / 10
    [last] = cal.groups([(1.0, True)])
    assert (last.low, last.high) == (0.9, 1.0)


def test_not_enough_yet():
    pairs = [(0.8, True)] * (cal.LEAST - 1)
    assert cal.calibration(pairs) is None
    assert cal.calibration([*pairs, (0.8, False)]) is not None


def test_a_perfect_and_a_blind_speaker():
    sure = cal.calibration([(1.0, True), (0.0, False)] * 15)
    assert (sure.brier, sure.constant) == (0.0, 0.25)
    assert sure.better.low == sure.better.high == 0.25
    blind = cal.calibration([(0.5, True), (0.5, False)] * 15)
    assert blind.better == Interval(low=0.0, mid=0.0, high=0.0)


def test_chances_that_do_not_fit_are_seen():
    boast = cal.calibration([(0.95, n % 2 == 0) for n in range(40)])
    assert [g.fits for g in boast.groups] == [False]
    assert boast.expected == pytest.approx(38.0)
    assert boast.better.high < 0
    assert boast.leaning == "too high"


def test_a_leaning_is_said_beyond_two_standard_deviations():
    """100 tosses of a fair coin: 50 with a standard deviation of 5."""
    said = {
        came: cal.calibration([(0.5, n < came) for n in range(100)]) for came in (41, 50, 59, 60)
    }
    assert [said[n].off for n in (41, 50, 60)] == pytest.approx([-1.8, 0.0, 2.0])
    assert [known.leaning for known in said.values()] == ["", "", "", "too low"]


@pytest.mark.parametrize(
    ("clean", "untried", "kept"),
    [
        (3, 0, IntervalOutcome.YES),
        (3, 2, IntervalOutcome.YES),
        (3, 3, IntervalOutcome.CANNOT_TELL),
        (2, 1, IntervalOutcome.CANNOT_TELL),
        (1, 1, IntervalOutcome.NO),
        (6, 0, IntervalOutcome.NO),
    ],
)
def test_an_interval_is_kept_only_when_it_can_be_told(clean, untried, kept):
    assert interval_kept(Interval(low=3, mid=4, high=5), clean, untried) is kept


def test_a_chance_is_reckoned_as_that_of_a_yes():
    """By the filter's own rates: it must be the likelihood that the filter gives to a yes."""
    from coldtake.learning.filter import PLAYER_ERRORS, TOOL_ERRORS

    for heard, (false_yes, false_no) in ((False, PLAYER_ERRORS), (True, TOOL_ERRORS)):
        assert cal.yes_chance(0.0, heard=heard) == false_yes
        assert cal.yes_chance(1.0, heard=heard) == 1.0 - false_no
        assert false_yes < cal.yes_chance(0.5, heard=heard) < 1.0 - false_no
