"""What the log says of the stage: every run against what the room supported that morning.

The steps of a piece are those that no other step of it needs: the others are contained in these.
What was believed on the morning is filtered from the log up to the evening before; of the player's
type all that is known by now is used, which costs less and says a little more than was known then.
"""

from collections.abc import Collection
from datetime import date, timedelta

import numpy as np

from coldtake.domain.history.state import State
from coldtake.domain.performance import Run, RunPart, step_said
from coldtake.domain.take import Answer
from coldtake.domain.topic import Step
from coldtake.learning.memory_law import Array
from coldtake.learning.posterior import beliefs, cold_chances, player_types, quantiles
from coldtake.learning.stage import PieceSaid, RunSaid, StageEffect, stage_effect

RUNS_MOST = 40  # the newest; what was years ago says little of the stage today
VALUES = 8  # equally likely values that stand for what is believed of a step
_SHARES = tuple((np.arange(VALUES) + 0.5) / VALUES)


def last_steps(state: State, topic_id: str) -> tuple[Step, ...]:
    """Steps of a topic that no other step of it needs, in order: together they are the piece."""
    steps = state.topic_steps(topic_id)
    needed = {need for step in steps for need in step.needs}
    return tuple(step for step in steps if step.id not in needed)


def effect_of(state: State, today: date) -> StageEffect:
    """Find the stage effect from the runs up to and including `today`."""
    runs = sorted((r for r in state.runs.values() if r.day <= today), key=lambda r: (r.at, r.id))
    types = player_types(state, today)
    said = [found for run in runs[-RUNS_MOST:] if (found := _said(state, run, types)).pieces]
    return stage_effect(said)


def _said(state: State, run: Run, types: Array) -> RunSaid:
    parts = [p for p in run.parts if p.answer is not Answer.CANNOT_TELL]
    steps = {p.topic_id: _steps(state, p) for p in parts}
    room = _room(state, run.day, {i for own in steps.values() for i in own}, types)
    pieces = tuple(
        PieceSaid(
            room=np.stack([room[i] for i in steps[p.topic_id]]),
            clean=tuple(step_said(p, i) for i in steps[p.topic_id]),
            whole=p.answer is Answer.YES,
        )
        for p in parts
        if steps[p.topic_id]
    )
    return RunSaid(run.kind, run.day.toordinal(), pieces)


def _steps(state: State, part: RunPart) -> tuple[str, ...]:
    """Steps of a piece, with those named where it broke."""
    own = [step.id for step in last_steps(state, part.topic_id)]
    return tuple(dict.fromkeys([*own, *(i for i in part.broke if i in state.steps)]))


def _room(state: State, day: date, step_ids: Collection[str], types: Array) -> dict[str, Array]:
    """Logits of a clean cold take on the morning of a day, (VALUES,) for each step."""
    if not step_ids:
        return {}
    b = beliefs(state, day - timedelta(days=1), step_ids, types=types)
    chance = np.clip(quantiles(cold_chances(b, 1.0), b.weight, _SHARES), 1e-6, 1.0 - 1e-6)
    logits = np.log(chance / (1.0 - chance))
    return {step_id: logits[:, row] for row, step_id in enumerate(b.step_ids)}
