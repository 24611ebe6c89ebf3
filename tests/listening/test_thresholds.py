"""A value against its threshold, worked by hand."""

import numpy as np
import pytest

from coldtake.listening.verdict.thresholds import share_within

OFF, ERRORS = np.array([1.0, 2.0, 4.0, 9.0]), np.full(4, 1.5)


@pytest.mark.parametrize(
    ("wanted", "passed"), [(25.0, True), (26.0, None), (75.0, None), (76.0, False)]
)
def test_a_share_is_decided_only_where_every_value_may_err(wanted, passed):
    """Within 3: two of four; surely only the first (2.5), perhaps the first three (2.5 to 5.5)."""
    assert share_within(OFF, ERRORS, 3.0, wanted) == (50.0, 25.0, passed)


def test_without_error_the_share_itself_decides():
    assert share_within(OFF, np.zeros(4), 3.0, 50.0) == (50.0, 0.0, True)
    assert share_within(OFF, np.zeros(4), 3.0, 51.0) == (50.0, 0.0, False)
