"""The best set of topics that can all be finished by their dates in the minutes that there are.

Topics are whole or not at all: counting steps would invite the first steps of many. Every topic has
the minutes that it still takes, the days to its date, and a worth. This is the weighted number of
late jobs on one machine, solved exactly by dynamic programming over the minutes used, topics in the
order of their dates (Lawler and Moore 1969, Management Science 16:77). Minutes count in whole
fives, a topic's own rounded up.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coldtake.planning.value.minutes_ahead import EVEN, DayShares

UNIT_MIN = 5
_SAME = 1e-9


@dataclass(frozen=True, slots=True)
class Candidate:
    """A topic that could be taken on: minutes still to be spent on it, days to its date, worth.

    shares : what each of these days has of an average day's minutes
    """

    topic_id: str
    minutes: float
    left: int
    worth: float
    shares: DayShares = EVEN

    @property
    def units(self) -> int:
        """Its minutes in units, at least one."""
        return max(int(np.ceil(self.minutes / UNIT_MIN - _SAME)), 1)

    def minutes_there(self, per_day: float) -> float:
        """Minutes there are until its date, at so many on an average day."""
        return per_day * float(self.shares.until(self.left))

    def there(self, per_day: float) -> int:
        """Units of them."""
        return int(self.minutes_there(per_day) / UNIT_MIN + _SAME)

    def fits_alone(self, per_day: float) -> bool:
        """Say whether its minutes are there at all, were it alone."""
        return self.units <= self.there(per_day)


def best_set(candidates: Sequence[Candidate], per_day: float) -> frozenset[str]:
    """Return the ids of the set of highest worth that is done in time; of equals the shortest."""
    jobs = sorted(candidates, key=lambda c: (c.left, c.topic_id))
    most = max((job.there(per_day) for job in jobs), default=0)
    best = np.full(most + 1, -np.inf)
    best[0] = 0.0
    taken: list[NDArray[np.bool_]] = []
    for job in jobs:
        long, end = job.units, job.there(per_day) + 1
        with_it = np.full_like(best, -np.inf)
        if long < end:
            with_it[long:end] = best[: end - long] + job.worth
        taken.append(with_it > best + _SAME)
        best = np.maximum(best, with_it)
    return _traced(jobs, taken, int(np.argmax(best >= best.max() - _SAME)))


def _traced(
    jobs: Sequence[Candidate], taken: Sequence[NDArray[np.bool_]], used: int
) -> frozenset[str]:
    """Follow the best end of the programme back to the set that led to it."""
    chosen: set[str] = set()
    for job, with_it in zip(reversed(jobs), reversed(taken), strict=True):
        if with_it[used]:
            chosen.add(job.topic_id)
            used -= job.units
    return frozenset(chosen)
