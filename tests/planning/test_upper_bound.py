"""The bench's upper bound: never below the best of all ways to spend the minutes.

Weak duality (e.g. S. Boyd, L. Vandenberghe, "Convex Optimization", Cambridge 2004, section 5.2.2).
"""

import importlib.util
import itertools
import sys
from pathlib import Path

import numpy as np
import pytest

BENCH = Path(__file__).parents[2] / "bench" / "learning"


@pytest.fixture(scope="module")
def lagrangian():
    sys.path.insert(0, str(BENCH))
    try:
        spec = importlib.util.spec_from_file_location("bound", BENCH / "bound.py")
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        yield module.lagrangian
    finally:
        sys.path.remove(str(BENCH))


def test_it_is_at_least_the_optimum_of_200_small_instances(lagrangian):
    rng = np.random.default_rng(20261126)
    gaps = []
    for _ in range(200):
        steps, minutes = int(rng.integers(1, 5)), np.arange(0.0, 30.0, 5.0)
        gain = np.sort(rng.random((steps, len(minutes))), axis=1)
        most = float(rng.integers(0, 12) * 5)
        best = max(
            gain[np.arange(steps), ways].sum()
            for ways in itertools.product(range(len(minutes)), repeat=steps)
            if minutes[list(ways)].sum() <= most
        )
        bound = lagrangian(gain, minutes, most)
        assert bound >= best - 1e-9
        gaps.append(bound - best)
    assert np.median(gaps) < 0.1  # it is a bound of these values, not of something else
