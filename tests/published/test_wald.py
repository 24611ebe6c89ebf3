"""A. Wald 1945, Sequential Tests of Statistical Hypotheses, Ann. Math. Statist. 16:117.

Bounds by Wald's formulas; acceptance probabilities and mean numbers exact by dynamic programming
(not Wald's approximation, which leaves out the overshoot).
"""

import pytest

from coldtake.learning.support import Decision, SequentialTest

FIRST = SequentialTest(poor=0.6, good=0.9, false_held=0.05, false_not=0.10)
ROWS = [
    (FIRST, 2.890372, -2.251292, 0.405465, -1.386294, 8, 2),
    (SequentialTest(0.5, 0.9, 0.05, 0.05), 2.944439, -2.944439, 0.587787, -1.609438, 6, 2),
    (SequentialTest(0.7, 0.9, 0.05, 0.10), 2.890372, -2.251292, 0.251314, -1.098612, 12, 3),
    (SequentialTest(0.8, 0.95, 0.05, 0.10), 2.890372, -2.251292, 0.171850, -1.386294, 17, 2),
]
EXACT = [
    (ROWS[0][0], (0.04118, 0.36436, 0.93586), (8.101, 14.540, 12.199)),
    (ROWS[1][0], (0.03445, 0.39587, 0.97050), (6.537, 11.963, 8.583)),
    (ROWS[2][0], (0.04692, 0.37850, 0.93321), (15.842, 27.934, 22.503)),
    (ROWS[3][0], (0.04959, 0.34897, 0.93247), (17.328, 31.293, 27.272)),
]


@pytest.mark.parametrize(("test", "upper", "lower", "yes", "no", "accept", "reject"), ROWS)
def test_bounds(test, upper, lower, yes, no, accept, reject):
    assert (test.upper, test.lower) == pytest.approx((upper, lower), abs=1e-6)
    assert (test.yes_weight, test.no_weight) == pytest.approx((yes, no), abs=1e-6)
    assert test.decide([True] * (accept - 1)) is Decision.GO_ON
    assert test.decide([True] * accept) is Decision.HELD
    assert test.decide([False] * (reject - 1)) is Decision.GO_ON
    assert test.decide([False] * reject) is Decision.NOT_HELD


@pytest.mark.parametrize(("test", "held", "takes"), EXACT)
def test_exact_acceptance(test, held, takes):
    for chance, p, n in zip(
        (test.poor, (test.poor + test.good) / 2, test.good), held, takes, strict=True
    ):
        found = test.exact(chance)
        assert found == pytest.approx((p, n), abs=6e-4)


@pytest.mark.parametrize(("yeses", "noes"), [(8, 0), (11, 1), (14, 2), (18, 3), (21, 4)])
def test_where_the_first_test_accepts(yeses, noes):
    assert FIRST.standing(yeses, noes) is Decision.HELD
    assert FIRST.standing(yeses - 1, noes) is not Decision.HELD


@pytest.mark.parametrize(("noes", "yeses"), [(2, 1), (3, 4), (4, 8), (5, 11)])
def test_where_the_first_test_rejects(noes, yeses):
    assert FIRST.standing(yeses, noes) is Decision.NOT_HELD
    assert FIRST.standing(yeses + 1, noes) is not Decision.NOT_HELD


def test_a_decision_stands():
    assert FIRST.decide([True] * 8 + [False] * 20) is Decision.HELD


def test_impossible_tests_are_refused():
    with pytest.raises(ValueError, match="poor < good"):
        SequentialTest(poor=0.9, good=0.6)
    with pytest.raises(ValueError, match="one half"):
        SequentialTest(false_held=0.7)
