"""The day of a performance itself: a short look at the programme, and nothing new.

What is worked on now cannot settle before the evening, and a try that goes wrong is taken along.
So only what begins each piece is played, and the two places of the programme that stand least among
those ever played, a few minutes each (common practice, no source; a player who pins something else
keeps it). Nothing else is planned until the performance is told to be over.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from coldtake.domain.history.state import State
from coldtake.domain.performance import Performance
from coldtake.planning.value.values import StepValue

LOOKED_AT = 2  # weak places
LEAST_WORTH = 0.01  # points: a look is planned, whatever work on it would still bring
REMARK = (
    "The performance is today. This plan has only the beginnings of the pieces and the two weakest "
    "places, a few minutes each. Warm up as you usually do, and rest before you play."
)


def on_stage_today(state: State, day: date) -> tuple[Performance, ...]:
    """Return the performances of a day with a programme that are not over."""
    found = (p for p in state.performances.values() if p.on == day and p.programme)
    return tuple(p for p in found if not state.is_over(p, day))


def only_looks(
    state: State, day: date, values: Sequence[StepValue], minutes: int
) -> tuple[StepValue, ...]:
    """Leave of the day's values the short looks, where a performance is that day; else all.

    minutes : of one look
    """
    stage = on_stage_today(state, day)
    if not stage:
        return tuple(values)
    programme = dict.fromkeys(t for p in stage for t in p.programme)
    mine = [v for v in values if v.topic_id in programme and v.available]
    begin: dict[str, StepValue] = {}
    for value in mine:
        begin.setdefault(value.topic_id, value)
    rest = [v for v in mine if v not in begin.values() and state.played(v.step_id)]
    weak = sorted(rest, key=lambda v: v.chance_without)[:LOOKED_AT]
    return tuple(_look(value, minutes) for value in (*begin.values(), *weak))


def _look(value: StepValue, minutes: int) -> StepValue:
    """Worth the more the weaker it is, up to so many minutes, and no cold take of its own."""
    worth = max(1.0 - value.chance_without, LEAST_WORTH)
    work = tuple(worth * n / minutes for n in range(minutes + 1))
    return replace(value, work_value=work, cold_value=0.0, due=False)
