"""After days away, steps that were met are looked at before they are worked on.

A cold take tells whether a step is still there; work before it would hide that. So until such a
step was touched since the player is back, minutes of work on it have no worth, and its cold take
has.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from coldtake.domain.history.state import State
from coldtake.domain.topic import StepPhase
from coldtake.planning.value.coming_back import coming_back
from coldtake.planning.value.values import StepValue

_MET = frozenset({StepPhase.MET, StepPhase.HELD})


def looked_at_first(state: State, day: date, values: Sequence[StepValue]) -> tuple[StepValue, ...]:
    """Value a look at what was met, and no work on it, until it was touched since coming back."""
    back = coming_back(state, day)
    if back is None:
        return tuple(values)
    waiting = {
        v.step_id
        for v in values
        if state.phase(v.step_id) in _MET and not state.touched_since(v.step_id, back.first)
    }
    return tuple(_look(v) if v.step_id in waiting else v for v in values)


def _look(value: StepValue) -> StepValue:
    """Let the cold take have what the first minutes of work would be worth, if that is more."""
    cold = max(value.cold_value, max(value.work_value[:3], default=0.0))
    return replace(value, work_value=(0.0,) * len(value.work_value), cold_value=cold)
