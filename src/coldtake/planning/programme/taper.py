"""The last days before a performance: what work can still add to it, and what it cannot.

No rule says when to taper. For each step of a programme two futures are compared: worked on every
day until the date, and left alone. What lies between, the chance that it stands on the day because
of the work, falls to nothing from two sides as the date comes near: a new step cannot be made ready
any more, and one that stands will still stand without more work. What is not in the programme can
wait until after it: what it loses by that is the days of waiting, as a share of the days to its own
date. Minutes are worth their share of
what they would be worth HORIZON_DAYS before, so that far from a date nothing is changed; what they
lose goes to cold takes and run-throughs (`run_worth`) by the choice of the day itself.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

import numpy as np

from coldtake.domain.history.state import State
from coldtake.domain.performance import Performance
from coldtake.learning import memory_law
from coldtake.learning.memory_law import Array
from coldtake.learning.posterior import Posterior, beliefs
from coldtake.learning.stage_log import effect_of
from coldtake.planning.value.step_arrays import KINDS, ThinnedParticles, Whole, chances, thinned
from coldtake.planning.value.values import StepValue

HORIZON_DAYS = 28  # so long before, there is time for all; a guess
READY = 0.7  # a step stands when it comes out on stage with this chance
VALUES = 24  # possible truths looked at for each step
LEAST_LEFT = 0.05  # of the difference at the horizon, so that a rock does not divide by nothing


def ahead(state: State, day: date) -> tuple[Performance, ...]:
    """Performances after a day, with a programme, the nearest first."""
    found = [p for p in state.performances.values() if p.on > day and p.programme]
    return tuple(sorted(found, key=lambda p: (p.on, p.id)))


def tapered(
    state: State, day: date, values: Sequence[StepValue], minutes: int
) -> tuple[StepValue, ...]:
    """Scale what work on a programme's steps is worth by what it can still add to the day.

    minutes : of the longest slot, given every day to a step that is worked on
    """
    left = _days_left(state, day)
    ids = [v.step_id for v in values if v.topic_id in left]
    if not ids:
        return tuple(values)
    b = beliefs(state, day, ids)
    days = np.array([left[state.steps[i].topic_id] for i in b.step_ids])
    stage = effect_of(state, day).stage.mid
    shares = dict(zip(b.step_ids, shares_left(b, days, minutes, stage), strict=True))
    soon = min(left.values())
    return tuple(
        _scaled(
            v, float(shares[v.step_id]) if v.step_id in shares else _waiting(state, day, v, soon)
        )
        for v in values
    )


def _waiting(state: State, day: date, value: StepValue, days: int) -> float:
    """Share of its worth that a step of another topic loses by waiting so many days, 0..1."""
    on = state.topic_date(value.topic_id, day)
    left = (on - day).days if on is not None and on > day else HORIZON_DAYS
    return min(days / min(left, HORIZON_DAYS), 1.0)


def _days_left(state: State, day: date) -> dict[str, int]:
    """Days to the nearest performance of each topic, where the horizon has begun."""
    left: dict[str, int] = {}
    for performance in ahead(state, day):
        for topic_id in performance.programme:
            left.setdefault(topic_id, (performance.on - day).days)
    return {topic_id: days for topic_id, days in left.items() if days < HORIZON_DAYS}


def _scaled(value: StepValue, share: float) -> StepValue:
    if share >= 1.0:
        return value
    return replace(value, work_value=tuple(share * v for v in value.work_value))


def shares_left(b: Posterior, days: Whole, minutes: int, stage: float) -> Array:
    """Share of what work adds at the horizon that it still adds `days` before, 0..1 (S,).

    stage : logits by which a step comes out otherwise on stage than in the room
    """
    thin = thinned(b, np.arange(len(b.step_ids)), VALUES)
    added = _added(thin, minutes, stage)
    before = added[np.arange(len(days)), HORIZON_DAYS - 1]
    now = added[np.arange(len(days)), np.minimum(days, HORIZON_DAYS) - 1]
    return np.asarray(np.clip(now / np.maximum(before, LEAST_LEFT), 0.0, 1.0))


def _added(thin: ThinnedParticles, minutes: int, stage: float) -> Array:
    """Chance to stand on stage because of 1 … HORIZON_DAYS days of work (S, HORIZON_DAYS)."""
    found, skill, half_life = [], thin.skill, thin.half_life
    kinds = tuple(KINDS[:, thin.shape])
    gap = np.broadcast_to(thin.gap, skill.shape)
    for worked in range(1, HORIZON_DAYS + 1):
        skill, half_life = memory_law.after_day(skill, half_life, gap, minutes, thin.rate, kinds)
        gap = np.ones_like(skill)
        after = ThinnedParticles(
            skill, half_life, thin.rate, thin.shape, thin.span, np.zeros_like(skill)
        )
        done, alone = chances(after, 1.0), chances(thin, float(worked))
        gained = _counted(done, stage) - _counted(alone, stage)
        found.append(np.maximum(gained.mean(axis=1), 0.0))
    return np.stack(found, axis=1)


def _counted(room: Array, stage: float) -> Array:
    """What a chance in the room is worth on stage: nothing below READY, where it is a gamble."""
    odds = room / (1.0 - room) * np.exp(stage)
    chance = odds / (1.0 + odds)
    return np.where(chance >= READY, chance, 0.0)
