"""B. Settles and B. Meeder 2016, A Trainable Spaced Repetition Model for Language Learning, ACL,
pp. 1848-1858: p = 2^(-days / h), h = -days / log2 p; examples of table 1.
"""

import math

import pytest

from coldtake.learning.support import half_life_chance, half_life_days


@pytest.mark.parametrize(
    ("chance", "days", "half_life"), [(0.5, 1.7, 1.7), (0.8, 4.7, 14.5995), (0.5, 13.5, 13.5)]
)
def test_rows_of_table_1(chance, days, half_life):
    assert half_life_days(chance, days) == pytest.approx(half_life, abs=1e-4)
    assert half_life_chance(half_life, days) == pytest.approx(chance, abs=1e-5)


def test_certain_recall_is_clipped():
    assert math.isfinite(half_life_days(1.0, 0.6))
    assert half_life_days(1.0, 0.6) > half_life_days(0.99, 0.6)
