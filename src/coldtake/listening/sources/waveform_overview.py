"""A recording drawn small: the largest and smallest sample in each of a few hundred slices."""

import numpy as np
import numpy.typing as npt


def extremes(samples: npt.NDArray[np.float32], slices: int) -> tuple[list[float], list[float]]:
    """Lowest and highest sample of each slice, at most `slices` of them, in [-1, 1]."""
    cuts = np.array_split(samples, min(slices, max(len(samples), 1)))
    lows = [float(c.min(initial=0.0)) for c in cuts]
    return lows, [float(c.max(initial=0.0)) for c in cuts]
