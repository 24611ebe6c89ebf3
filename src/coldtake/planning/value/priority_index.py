"""The priority index: how much a slot on each step is wanted tonight, compared with the others.

Practice days couple only through their minutes, so every step gets an index that depends on itself
alone and the steps of the highest indices are played (an index rule for a weakly coupled problem:
Whittle 1988, Journal of Applied Probability 25A:287, for the idea). The index is the days since the
step was played, times how much hangs on it. What is left open stands in an `IndexPolicy`: how much
is taken on, and how soon what was met comes back. Topics are taken on only as far as their minutes
are there until their dates (`fitting`), and one that was begun stays taken on. `rollout` follows a
policy through the days to come: that is the outlook.

The numbers were tried on simulated players of two laws (bench/learning); they are guesses.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coldtake.learning.memory_law import Array
from coldtake.planning.value.step_arrays import ON_DATE, Flags, StepArrays, Whole

FRESH_GAP = 6.0  # days since it was played that a step never played counts as
IMPORTANCE_POWER = 0.8
WAITING = 0.5  # more for each unmet step of its topic that waits for this one
DATE_SCALE, DATE_FLOOR = 10.0, 20.0  # days; a nearer date comes first
OUTSIDE = 0.005  # weight of topics that do not fit until their dates; only where minutes are left
KEEPING = 0.3  # minutes still to spend on a step played enough, as a share of its own
KEEPING_DAYS = 40.0  # until a date so far ahead; less, when it is nearer
SLOT_MIN = 8.0  # minutes of a slot in the days ahead (`rollout`)
CLOSE_DAYS = 4  # days to the date in which no later turn is waited for
WHOLE = 0.5  # what a whole topic is worth then, against its steps
OPEN_SLOPE, MET_SLOPE = 0.03, 0.02  # what a minute more brings then, of what the slot brought


@dataclass(frozen=True, slots=True)
class IndexPolicy:
    """One way to go round.

    reach : minutes thought for a step until its date, times those expected until it is met;
        the smaller, the more topics are taken on
    met_share : how often a met step comes back, against one that is open
    """

    reach: float
    met_share: float


# A choice among policies of other reach brought steps and lost whole topics.
USUAL = IndexPolicy(reach=1.4, met_share=0.5)


def spent(minutes: Array, met: Flags, slot_min: float) -> Array:
    """Share of the worth of a slot of `slot_min` that minutes bring; broadcast, never falling."""
    slope = np.where(met, MET_SLOPE, OPEN_SLOPE)
    more = slope * np.maximum(minutes - slot_min, 0.0)
    return np.asarray(np.minimum(minutes, slot_min) / slot_min + more)


def turn(
    steps: StepArrays, gap: Array, met: Flags, chance: Array, met_share: Array | float
) -> Array:
    """Index of each step, all (S, C) or broadcasting; 0 is never wanted.

    gap : days since it was played; chance : of a clean cold take now, as believed
    """
    back = met_share * 2.0 * (1.1 - chance)
    return weights(steps)[:, None] * np.maximum(gap, 0.2) * np.where(met, back, 1.0)


def weights(steps: StepArrays) -> Array:
    """What hangs on each step: importance, nearness of the date, steps that wait for it (S,)."""
    date = 1.0 + DATE_SCALE / (steps.left + DATE_FLOOR)
    return np.asarray(steps.weight**IMPORTANCE_POWER * date * (1.0 + WAITING * waiting(steps)))


def waiting(steps: StepArrays) -> NDArray[np.int_]:
    """How many unmet steps wait for each one, directly or through others (S,)."""
    behind: list[set[int]] = [set() for _ in steps.ids]
    for i in np.argsort(-steps.depth, kind="stable"):
        for n in steps.needs[i]:
            behind[n] |= behind[i] | {int(i)}
    return np.array([len(b) for b in behind], dtype=int)


def fitting(steps: StepArrays, cost: Mapping[str, float], per_day: float) -> Array:
    """Take on only what fits: 1 for steps of topics that fit until their dates, else OUTSIDE (S,).

    Topics are taken by what comes out for the minutes they cost; one is taken when the minutes of
    all taken until each date are there.
    """
    minutes = {topic: np.array([each]) for topic, each in cost.items()}
    return _fits(steps, minutes, per_day, 0)[:, 0]


def fitting_each(steps: StepArrays, cost: Array, per_day: float, ahead: int) -> Array:
    """`fitting` for many futures at once, `ahead` days on: cost (S, C) -> (S, C)."""
    minutes = {topic: cost[rows].sum(axis=0) for topic, rows in topic_rows(steps).items()}
    return _fits(steps, minutes, per_day, ahead)


def _fits(steps: StepArrays, cost: Mapping[str, Array], per_day: float, ahead: int) -> Array:
    """What fits in each future, by the minutes of each topic there (C,) -> (S, C)."""
    topics = topic_rows(steps)
    if not topics:
        return np.empty((0, 1))
    rows = [topics[topic] for topic in sorted(topics)]  # of equals the first by its id
    left = np.array([days_to_fit(steps)[r].max() - ahead for r in rows])
    minutes = np.stack([cost[topic] for topic in sorted(topics)])
    worth = np.array([steps.weight[r].sum() for r in rows])[:, None] / minutes
    order = np.argsort(-worth, axis=0, kind="stable")
    asked = np.zeros_like(minutes)  # minutes of all taken whose date is not after a topic's own
    there = per_day * steps.shares.between(ahead, left)
    taken = np.zeros(minutes.shape, dtype=bool)
    column = np.arange(minutes.shape[1])
    for rank in order:
        later = np.greater_equal(left[:, None], left[rank])
        more = asked + np.where(later, minutes[rank, column], 0.0)
        in_time = ((more <= there[:, None]) | ~later).all(axis=0) & (left[rank] > 0)
        asked = np.where(in_time, more, asked)
        taken[rank, column] = in_time
    fits = np.empty((len(steps.ids), minutes.shape[1]))
    for r, own in zip(rows, taken, strict=True):
        fits[r] = np.where(own, 1.0, OUTSIDE)
    return fits


def days_to_fit(steps: StepArrays) -> Whole:
    """Days until which each step's minutes must be there (S,).

    While there are dates, what has none is measured by the last of them: nothing new without a
    date is begun for minutes that the dates will want.
    """
    dated = np.equal(steps.aim, ON_DATE)
    if not dated.any():
        return steps.left
    return np.where(dated, steps.left, int(steps.left[dated].max()))


def costs(steps: StepArrays, need: Array, played: Array, reach: float) -> dict[str, float]:
    """Minutes that each topic still takes until its date, need and played in minutes (S,).

    Steps of a topic pay for each other: minutes played on the first ones beyond their need have
    been taken from the last ones. So a topic once begun stays taken on.
    """
    found = _topic_costs(steps, need, played[:, None], np.array([reach]), 0)
    return {topic: float(minutes[0]) for topic, minutes in found.items()}


def costs_each(steps: StepArrays, need: Array, played: Array, reach: Array, ahead: int) -> Array:
    """`costs` for many futures at once, `ahead` days on: played (S, C), reach (C,) -> (S, C).

    A topic's minutes are shared between its steps by their need.
    """
    whole, found = _topic_costs(steps, need, played, reach, ahead), np.empty(played.shape)
    for topic, rows in topic_rows(steps).items():
        found[rows] = whole[topic] * (need[rows] / need[rows].sum())[:, None]
    return found


def _topic_costs(
    steps: StepArrays, need: Array, played: Array, reach: Array, ahead: int
) -> dict[str, Array]:
    left = np.maximum(days_to_fit(steps) - ahead, 0)
    keeping = KEEPING * need * np.minimum(left / KEEPING_DAYS, 1.0)
    return {
        topic: np.maximum(
            reach * need[rows].sum() - played[rows].sum(axis=0),
            max(float(keeping[rows].sum()), 1.0),
        )
        for topic, rows in topic_rows(steps).items()
    }


def share_of_cost(steps: StepArrays, need: Array, cost: Mapping[str, float]) -> Array:
    """Each step's part of what its topic still costs, by its need (S,)."""
    part = np.zeros(len(steps.ids))
    for topic, rows in topic_rows(steps).items():
        part[rows] = cost[topic] * need[rows] / need[rows].sum()
    return part


def close(steps: StepArrays, left: Whole) -> Flags:
    """Steps whose date is so near that no later turn will come: tonight counts by itself."""
    return np.asarray((steps.aim == ON_DATE) & (left > 0) & (left <= CLOSE_DAYS))


def before_date(steps: StepArrays, index: Array, near: Flags, gain: Array, alone: Array) -> Array:
    """Index (S, C) in the last days: also by what a slot adds on the date, to steps and topics.

    The middle (geometric) of the usual index and of what is added: the latter by itself is right
    when the truth is known, but the estimates of single steps are too rough for it.

    near : the steps that are `close` (S,); gain : what a slot adds to the chance on the date
    alone : that chance when left alone; both (S, C)
    """
    if not near.any():
        return index
    others = np.zeros_like(gain)
    for rows in topic_rows(steps).values():
        for row in rows:
            rest = [r for r in rows if r != row]
            others[row] = alone[rest].prod(axis=0) * len(rows)
    worth = steps.weight[:, None] * gain * (1.0 + WHOLE * others)
    worth = np.where(near[:, None] & (index > 0.0), np.maximum(worth, 1e-9), 0.0)
    scale = np.where(near[:, None], index, 0.0).sum(axis=0) / np.maximum(worth.sum(axis=0), 1e-9)
    return np.where(near[:, None], np.sqrt(worth * scale * index), index)


def topic_rows(steps: StepArrays) -> dict[str, list[int]]:
    """Rows of each topic's steps, in order."""
    topics: dict[str, list[int]] = {}
    for row, topic_id in enumerate(steps.topics):
        topics.setdefault(topic_id, []).append(row)
    return topics
