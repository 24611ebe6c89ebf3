"""Minutes that a step takes of this player: those played, and those still expected.

What was entered with a step is a first guess; the player's own pace, and what was met in fewer
minutes, say more. So a topic that is nearly done costs what is left of it, and not what was thought
at first.
"""

from dataclasses import replace

import numpy as np

from coldtake.domain.history.state import State
from coldtake.learning.memory import minutes_to_met
from coldtake.planning.value.rollout import Start

_NOTHING = 1.0  # a step that cannot be played at home takes none: less than this


def as_believed(state: State, start: Start) -> Start:
    """Put in place of the minutes entered those that are believed by now."""
    b = start.beliefs
    if not start.steps.ids:
        return start
    left = (minutes_to_met(state, b) * b.weight).sum(axis=1)[start.steps.rows]
    need = np.maximum(start.played + left, _NOTHING)
    return replace(start, need=np.where(start.need < _NOTHING, start.need, need))
