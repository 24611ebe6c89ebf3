"""From the chances of each simulated future to what comes out on the date, and how sure that is.

What moves many steps together the simulations hold still: the form of the day (the same for
everything that is played on it, `learning.filter.DAY_FORM_SD`), and what the model has wrong about
this player, about a topic as a whole and about a step (model discrepancy: Kennedy and O'Hagan 2001,
Bayesian Calibration of Computer Models, Journal of the Royal Statistical Society B 63:425). What
was simulated is drawn together a little, since it is surer than it is right (logistic
recalibration: Cox 1958, Biometrika 45:562, from memory). All sizes were chosen on simulated players
of many laws, and then held against others of other laws (bench/learning/RESULTS.md).

All of it is drawn from seeds that hang on the topic alone, so that a topic has the same errors
whatever else is looked at beside it.
"""

import hashlib
from collections.abc import Sequence

import numpy as np

from coldtake.domain.estimate import Interval
from coldtake.learning.filter import DAY_FORM_SD
from coldtake.learning.memory_law import Array

PLAYER_SD = 0.35  # logits, of what is wrong about a player as a whole
TOPIC_SD = 1.0  # logits, of what is wrong about a topic as a whole
STEP_SD = 0.8  # logits, of what is wrong about a step by itself
SLOPE, SHIFT = 0.9, 0.1  # of the simulated logit, and logits on top of it
SHARE = 0.8  # of the outcomes that an interval is meant to hold
OUTSIDE = (1.0 - SHARE) / 2.0  # the most that either end by itself has when it is left out


def room_logits(final: Array, topics: Sequence[str]) -> Array:
    """Logits in the practice room in each future (S, D), what may be wrong about them put in.

    final : chances as simulated, (S, D); topics : id of each row's topic
    """
    chance = np.clip(final, 1e-6, 1.0 - 1e-6)
    simulated = np.log(chance / (1.0 - chance))
    return np.asarray(SLOPE * simulated + SHIFT + _wrong(topics, final.shape[1]))


def day_chances(logits: Array) -> Array:
    """Chance of each step in each future on a day of some form: (S, D) -> (S, D)."""
    form = _normal("form", DAY_FORM_SD, logits.shape[1])
    return np.asarray(1.0 / (1.0 + np.exp(-(logits + form))))


def _wrong(topics: Sequence[str], draws: int) -> Array:
    player = _normal("player", PLAYER_SD, draws)
    own = {t: player + _normal(f"topic {t}", TOPIC_SD, draws) for t in dict.fromkeys(topics)}
    before: dict[str, int] = dict.fromkeys(own, 0)
    found = np.zeros((len(topics), draws))
    for row, topic_id in enumerate(topics):
        before[topic_id] += 1
        by_itself = _normal(f"step {before[topic_id]} of {topic_id}", STEP_SD, draws)
        found[row] = own[topic_id] + by_itself
    return found


def _normal(name: str, sd: float, draws: int) -> Array:
    """Draws of one error: more of them begin with the same."""
    seed = int.from_bytes(hashlib.sha256(name.encode()).digest()[:8], "big")
    return np.random.default_rng(seed).normal(0.0, sd, draws)


def number_shares(chances: Array) -> Array:
    """Share of each number 0..S of clean steps, over futures (S, D): one cold take of each step.

    Exact for each future (Poisson binomial by convolution: Barlow and Heidtmann 1984, Computing
    k-out-of-n system reliability, IEEE Transactions on Reliability 33:322, from memory), then the
    mean over all: its last entry is the chance that all are clean, to the digit.
    """
    share = np.zeros((len(chances) + 1, chances.shape[1]))
    share[0] = 1.0
    for chance in chances:
        share[1:] = share[1:] * (1.0 - chance) + share[:-1] * chance
        share[0] *= 1.0 - chance
    return np.asarray(share.mean(axis=1))


def chance_interval(values: Array) -> Interval:
    """Mean of a chance over the draws (D,) with the limits of their middle 80 %."""
    low, high = (float(v) for v in np.quantile(values, (0.1, 0.9)))
    return Interval(low=low, mid=min(max(float(values.mean()), low), high), high=high)


def number_interval(share: Array) -> Interval:
    """The interval of whole numbers whose share of the outcomes is nearest to SHARE.

    share : of each number from 0 on, which sum to 1

    Of equal ones the most even, then the lower. Limits that each leave out at most a tenth would
    hold clearly more than they say when the numbers are few: five steps have only six outcomes.
    But none and all are never left out where either has more than a tenth by itself: the chance
    of all stands beside the interval, and 24 in 100 for what the limits rule out are two truths.
    """
    most = len(share) - 1
    below = np.concatenate([[0.0], np.cumsum(share)])
    low, high = np.triu_indices(most + 1)
    held = below[high + 1] - below[low]
    uneven = np.abs(below[low] - (1.0 - below[high + 1]))
    off = np.abs(held - SHARE) + 0.25 * uneven
    off[((low > 0) & (share[0] > OUTSIDE)) | ((high < most) & (share[most] > OUTSIDE))] = np.inf
    best = int(np.argmin(np.round(off, 9)))
    mid = float(np.searchsorted(np.round(below[1:], 9), 0.5))
    a, b = float(low[best]), float(high[best])
    return Interval(low=a, mid=min(max(mid, a), b), high=b)
