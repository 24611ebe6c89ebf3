"""The cloud of possible steps: its points against SciPy's own sequence, its types as a prior."""

import numpy as np
import pytest
from scipy.stats import qmc

from coldtake.learning.memory_law import SHAPES
from coldtake.learning.prior import FALSE_CLEAN_RATES, KNOWN_PER_BLOCK, NEW_PER_BLOCK, cloud, halton


def test_points_are_those_of_halton():
    """J. H. Halton 1960, Numerische Mathematik 2:84; SciPy's begins with a point at 0."""
    ours = halton(np.arange(1, 400))
    assert ours == pytest.approx(qmc.Halton(4, scramble=False).random(400)[1:])


def test_every_shape_and_ear_has_its_particles_and_types():
    c = cloud()
    assert len(c.pace) == len(SHAPES) * len(FALSE_CLEAN_RATES) * (NEW_PER_BLOCK + KNOWN_PER_BLOCK)
    assert c.type_chance.sum() == pytest.approx(1.0)
    assert c.given_type.sum(axis=1) == pytest.approx(1.0)
    pairs = {(int(s), float(e)) for s, e in zip(c.shape, c.ear, strict=True)}
    assert len(pairs) == len(SHAPES) * len(FALSE_CLEAN_RATES)


def test_types_of_another_pace_want_other_particles():
    c = cloud()
    paces = (c.pace[: (NEW_PER_BLOCK + KNOWN_PER_BLOCK), None] * c.given_type[0]).sum(axis=0)
    assert paces.max() > 0.5
    assert paces.min() < -0.5
