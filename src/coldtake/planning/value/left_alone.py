"""The chance of a clean first try on a day when nothing of a step is played before it.

From all that is believed of the step, without simulation: today's and tomorrow's chance on its
page, what a plan expects of a cold take, and what some minutes tomorrow add to the date by
themselves are this one number on different days (`forecast` has the other question).
"""

from collections.abc import Collection
from datetime import date

from coldtake.domain.estimate import Interval
from coldtake.domain.history.state import State
from coldtake.learning import memory_law
from coldtake.learning.memory import intervals
from coldtake.learning.memory_law import Array
from coldtake.learning.posterior import beliefs, enough


class LeftAlone:
    """Chances of some steps, from the log up to and including a day."""

    def __init__(self, state: State, day: date, step_ids: Collection[str]) -> None:
        self.day = day
        self._b = beliefs(state, day, set(step_ids))
        self._row = {step_id: row for row, step_id in enumerate(self._b.step_ids)}

    def enough(self, step_id: str) -> bool:
        """Say whether there are takes enough for more than a rough estimate."""
        return enough(self._b.filters[self._row[step_id]])

    def chance(self, step_id: str, on: date, *, minutes: int = 0) -> Interval:
        """Mean and 80 % interval of a clean first try on a day, from `day` on.

        minutes : of work on `day` itself, the only work until then
        """
        row = self._row[step_id]
        alone = self._interval(row, self._later(row, on))
        if minutes <= 0:
            return alone
        worked = self._interval(row, self._worked(row, on, float(minutes)))
        return worked if worked.mid > alone.mid else alone

    def _days(self, on: date) -> int:
        if on < self.day:
            raise ValueError(f"{on} lies before {self.day}")
        return (on - self.day).days

    def _later(self, row: int, on: date) -> Array:
        """Chance of each particle (N,); what was never played does not fade."""
        b = self._b
        days = b.gap_days[row] + self._days(on) if b.filters[row].day is not None else 0.0
        kept = memory_law.retention(days, b.half_life[row], b.cloud.psi)
        return memory_law.clean_chance(b.skill[row] * kept, b.cloud.span)

    def _worked(self, row: int, on: date, minutes: float) -> Array:
        b, c = self._b, self._b.cloud
        kinds = (c.psi, c.curve, c.growth, c.loss, c.recovery_min)
        skill, half_life = memory_law.after_day(
            b.skill[row], b.half_life[row], b.gap_days[row], minutes, b.rate[row], kinds
        )
        kept = memory_law.retention(self._days(on), half_life, c.psi)
        return memory_law.clean_chance(skill * kept, c.span)

    def _interval(self, row: int, chance: Array) -> Interval:
        [found] = intervals(chance[None, :], self._b.weight[row][None, :], mean=True)
        return found
