"""What the answer to one try would tell of a chance: an experiment valued before it is made.

Valued by the variance of that chance which the answer explains (Lindley 1956, Annals of
Mathematical Statistics 27:986, for the idea of valuing an experiment by what it tells).
"""

from typing import NamedTuple

import numpy as np

from coldtake.learning.memory_law import Array


class OutcomePosteriors(NamedTuple):
    """Chance of a yes, and the chance asked about after a no and after a yes."""

    yes: Array
    after_no: Array
    after_yes: Array


def posteriors_by_answer(chance: Array, says: Array) -> OutcomePosteriors:
    """Hold a chance (..., D) against that of a yes (..., D), over equally likely truths D."""
    yes = np.clip(says.mean(axis=-1), 1e-6, 1.0 - 1e-6)
    after_yes = (chance * says).mean(axis=-1) / yes
    after_no = (chance * (1.0 - says)).mean(axis=-1) / (1.0 - yes)
    return OutcomePosteriors(yes, after_no, after_yes)


def spread(told: OutcomePosteriors, mean: Array | float) -> Array:
    """Standard deviation that the answer explains; mean : of the chance, without an answer."""
    by_yes, by_no = told.after_yes - mean, told.after_no - mean
    return np.asarray(np.sqrt(told.yes * by_yes**2 + (1.0 - told.yes) * by_no**2))
