"""Whose turn it is: how much a slot on each step is wanted tonight, against all the others.

Practice days couple only through their minutes, so every step gets an index that depends on itself
alone and the steps of the highest indices are played (an index rule for a weakly coupled problem:
Whittle 1988, Journal of Applied Probability 25A:287, for the idea). The index is the days since the
step was played, times how much hangs on it. Two things the log cannot know beforehand are left
open in a `Course`: how much is taken on, and how soon what was met comes back. `futures` tries the
courses on what the player's log allows to be true and takes the best.

The numbers were tried on simulated players of two laws (bench/learning); they are guesses.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coldtake.learning.law import Array
from coldtake.planning.prospect import Flags, Steps

FRESH_GAP = 6.0  # days since it was played that a step never played counts as
IMPORTANCE_POWER = 0.5
WAITING = 0.2  # more for each unmet step of its topic that waits for this one
DATE_SCALE, DATE_FLOOR = 10.0, 20.0  # days; a nearer date comes first
OUTSIDE = 0.02  # weight of topics that do not fit until their dates
KEEPING = 0.3  # minutes still to spend on a step played enough, as a share of its own
KEEPING_DAYS = 40.0  # until a date so far ahead; less, when it is nearer
SLOT_MIN = 5.0  # minutes after which more of them bring less
OPEN_SLOPE, MET_SLOPE = 0.1, 0.02  # what a minute more brings then, of what the slot brought


@dataclass(frozen=True, slots=True)
class Course:
    """One way to go round.

    reach : minutes thought for a step until its date, times those expected until it is met;
        the smaller, the more topics are taken on
    met_share : how often a met step comes back, against one that is open
    """

    reach: float
    met_share: float


USUAL = Course(reach=1.2, met_share=0.5)
COURSES = (USUAL, Course(0.8, 0.5), Course(1.6, 0.5), Course(2.2, 0.5), Course(1.2, 1.0))


def spent(minutes: Array, met: Flags) -> Array:
    """Share of a slot's worth that minutes of work bring; broadcast, never falling."""
    slope = np.where(met, MET_SLOPE, OPEN_SLOPE)
    more = slope * np.maximum(minutes - SLOT_MIN, 0.0)
    return np.asarray(np.minimum(minutes, SLOT_MIN) / SLOT_MIN + more)


def turn(steps: Steps, gap: Array, met: Flags, chance: Array, met_share: Array | float) -> Array:
    """Index of each step, all (S, C) or broadcasting; 0 is never wanted.

    gap : days since it was played; chance : of a clean cold take now, as believed
    """
    back = met_share * 2.0 * (1.1 - chance)
    return weights(steps)[:, None] * np.maximum(gap, 0.2) * np.where(met, back, 1.0)


def weights(steps: Steps) -> Array:
    """What hangs on each step: importance, nearness of the date, steps that wait for it (S,)."""
    date = 1.0 + DATE_SCALE / (steps.left + DATE_FLOOR)
    return np.asarray(steps.weight**IMPORTANCE_POWER * date * (1.0 + WAITING * waiting(steps)))


def waiting(steps: Steps) -> NDArray[np.int_]:
    """How many unmet steps wait for each one, directly or through others (S,)."""
    behind: list[set[int]] = [set() for _ in steps.ids]
    for i in np.argsort(-steps.depth, kind="stable"):
        for n in steps.needs[i]:
            behind[n] |= behind[i] | {int(i)}
    return np.array([len(b) for b in behind], dtype=int)


def fitting(steps: Steps, cost: Array, per_day: float) -> Array:
    """Take on only what fits: 1 for steps of topics that fit until their dates, else OUTSIDE.

    Topics are taken by what comes out for the minutes they cost; one is taken when the minutes of
    all taken until each date are there.
    """
    topics = topic_rows(steps)
    worth = {t: steps.weight[rows].sum() / cost[rows].sum() for t, rows in topics.items()}
    taken: list[tuple[int, float]] = []
    fits = np.full(len(steps.ids), OUTSIDE)
    for topic in sorted(topics, key=lambda t: (-worth[t], t)):
        rows = topics[topic]
        asked = [*taken, (int(steps.left[rows].max()), float(cost[rows].sum()))]
        if _in_time(asked, per_day):
            taken = asked
            fits[rows] = 1.0
    return fits


def fitting_each(steps: Steps, cost: Array, per_day: float, ahead: int) -> Array:
    """`fitting` for many futures at once, `ahead` days on: cost (S, C) -> (S, C)."""
    rows = list(topic_rows(steps).values())
    left = np.array([steps.left[r].max() - ahead for r in rows])
    minutes = np.stack([cost[r].sum(axis=0) for r in rows])
    worth = np.array([steps.weight[r].sum() for r in rows])[:, None] / minutes
    order = np.argsort(-worth, axis=0, kind="stable")
    asked = np.zeros_like(minutes)  # minutes of all taken whose date is not after a topic's own
    taken = np.zeros(minutes.shape, dtype=bool)
    column = np.arange(minutes.shape[1])
    for rank in order:
        later = np.greater_equal(left[:, None], left[rank])
        more = asked + np.where(later, minutes[rank, column], 0.0)
        in_time = ((more <= per_day * left[:, None]) | ~later).all(axis=0) & (left[rank] > 0)
        asked = np.where(in_time, more, asked)
        taken[rank, column] = in_time
    fits = np.empty(cost.shape)
    for r, own in zip(rows, taken, strict=True):
        fits[r] = np.where(own, 1.0, OUTSIDE)
    return fits


def _in_time(asked: list[tuple[int, float]], per_day: float) -> bool:
    minutes = 0.0
    for left, cost in sorted(asked):
        minutes += cost
        if minutes > per_day * left:
            return False
    return True


def costs(steps: Steps, need: Array, played: Array, reach: float) -> Array:
    """Minutes that each step still takes until its date (S,), need and played in minutes."""
    keeping = KEEPING * need * np.minimum(steps.left / KEEPING_DAYS, 1.0)
    return np.asarray(np.maximum(np.maximum(reach * need - played, keeping), 1.0))


def costs_each(steps: Steps, need: Array, played: Array, reach: Array, ahead: int) -> Array:
    """`costs` for many futures at once, `ahead` days on: played (S, C), reach (C,) -> (S, C)."""
    left = np.maximum(steps.left - ahead, 0)
    keeping = KEEPING * need * np.minimum(left / KEEPING_DAYS, 1.0)
    wanted = reach[None, :] * need[:, None] - played
    return np.asarray(np.maximum(np.maximum(wanted, keeping[:, None]), 1.0))


def topic_rows(steps: Steps) -> dict[str, list[int]]:
    """Rows of each topic's steps, in order."""
    topics: dict[str, list[int]] = {}
    for row, topic_id in enumerate(steps.topics):
        topics.setdefault(topic_id, []).append(row)
    return topics
