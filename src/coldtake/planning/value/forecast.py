"""One simulation of the days to a date; every forecast "as planned" is read from it.

A page, a command or a plan that speaks of a date asks one of two questions, and says which:

    left alone   nothing of the step is played before that day (`left_alone`)
    as planned   practice goes on as lately and the plan chooses the steps (here)

The second is asked for one try in the practice room, and for the stage, where the stage effect is
put on the same simulations (`readiness`). The names that stand beside the numbers are in
`forecast_words`.

Each draw takes one possible player and one possible truth for every step from the posterior, then
lives day after day by tonight's best course, whose index is the planner's own (`turns`); days are
missed as often as they have been, and every few days it is thought over what fits before its date.
Not the planner itself: slots have the length that an evening leaves to each. Draws come from a seed
made of the log's own content: equal logs give equal numbers, wherever they are asked for.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from coldtake.domain.history.state import State
from coldtake.learning.memory_law import Array
from coldtake.learning.posterior import Posterior, enough_rows
from coldtake.planning.value.day_outcomes import day_chances, room_logits
from coldtake.planning.value.lookahead import DRAWS as TRIED
from coldtake.planning.value.lookahead import (
    begun,
    days_ahead,
    seeded,
)
from coldtake.planning.value.minutes_ahead import minutes_per_day
from coldtake.planning.value.needs import as_believed
from coldtake.planning.value.priority_index import USUAL, topic_rows
from coldtake.planning.value.rollout import CalendarAssumptions, Start, drawn, lived
from coldtake.planning.value.step_arrays import ON_DATE, Flags, StepArrays, plannable

BATCHES = 4
DRAWS = 32  # in a batch
ANEW_DAYS = 3  # after which it is thought over what fits
TRIES_MOST = 4.0  # a day, of one step


@dataclass(frozen=True, slots=True)
class Forecast:
    """D simulated futures of the plannable steps S.

    logits : of a clean first try in the practice room on each step's date, (S, D)
    ready : first day, counted from `today`, on which a step was ready once; -1 for never, (S, D)
    enough : there are takes enough to say more than a rough estimate, (S,)
    """

    today: date
    steps: StepArrays
    logits: Array
    ready: Array
    enough: Flags

    @property
    def rows(self) -> dict[str, list[int]]:
        """Rows of each topic's steps."""
        return topic_rows(self.steps)

    def chances(self) -> Array:
        """Chance of a clean first try in each future, the form of the day drawn (S, D)."""
        return day_chances(self.logits)

    def on(self, topic_id: str) -> date:
        """The day that is looked at: a topic's date, or so far ahead without one."""
        return self.today + timedelta(days=1 + int(self.steps.left[self.rows[topic_id][0]]))


def forecasts(
    state: State,
    today: date,
    *,
    minutes_per_day: float | None = None,
    left: Mapping[str, int] | None = None,
) -> Iterator[Forecast | None]:
    """Give the forecast after each batch of draws, from all so far; None: nothing is plannable.

    minutes_per_day : what is really played on the average day; default from the log
    left : days from tomorrow to another date, by topic id
    """
    tomorrow = today + timedelta(days=1)
    per_day = _per_day(state, tomorrow, minutes_per_day)
    rng = seeded(state, tomorrow, f"{per_day:.3f}")
    left = _due_on(state, tomorrow) | dict(left or {})
    start = as_believed(state, _dated(begun(state, tomorrow, per_day, TRIED, rng), left))
    if not start.steps.ids:
        yield None
        return
    days = days_ahead(state, tomorrow, per_day)
    truer = _as_played(days, start.beliefs)
    final: list[Array] = []
    ready: list[Array] = []
    for _ in range(BATCHES):
        again = drawn(start.beliefs, start.steps, DRAWS, rng)
        [future] = lived(replace(start, thin=again), [USUAL], truer, rng)
        final.append(future.final)
        ready.append(future.ready)
        steps = start.steps
        yield Forecast(
            today=today,
            steps=steps,
            logits=room_logits(np.concatenate(final, axis=1), steps.topics),
            ready=np.concatenate(ready, axis=1),
            enough=np.array(enough_rows(start.beliefs), dtype=bool)[steps.rows],
        )


def _per_day(state: State, tomorrow: date, given: float | None) -> float:
    return minutes_per_day(state, tomorrow) if given is None else given


def _due_on(state: State, tomorrow: date) -> dict[str, int]:
    """Topics whose date is tomorrow: for a plan they have none any more, here they have."""
    return {t: 0 for t in plannable(state) if state.topic_date(t, tomorrow) == tomorrow}


def _dated(start: Start, left: Mapping[str, int]) -> Start:
    """Give some topics another date."""
    steps = start.steps
    mine = np.array([t in left for t in steps.topics], dtype=bool)
    days = np.array([left.get(t, 0) for t in steps.topics], dtype=int)
    dated = replace(
        steps,
        left=np.where(mine, days, steps.left),
        aim=np.where(mine, ON_DATE, steps.aim),
    )
    return replace(start, steps=dated)


def _as_played(days: CalendarAssumptions, b: Posterior) -> CalendarAssumptions:
    """With as many tries on a day as the player makes, and thinking anew what fits."""
    tries = (sum(f.answers for f in b.filters) + 1.0) / (sum(f.days for f in b.filters) + 1.0)
    return replace(days, tries=min(max(tries, 1.0), TRIES_MOST), anew=ANEW_DAYS)
