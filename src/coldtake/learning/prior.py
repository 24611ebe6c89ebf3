"""What is thought about a step and a player before any try: a fixed cloud of possible steps.

Each particle is one way a step could be: how fast it is learned, how long it holds, how far it can
get, how much of it is there already, and one of the shapes of law.SHAPES. The cloud is a scrambled
Sobol sequence with a fixed seed, the same for everybody, so equal logs give equal estimates.

A player is one of a few types (pace, holding, shape); a type says which particles are likely for
each of the player's steps. All widths are guesses, checked in bench/learning.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri
from scipy.stats import qmc

from coldtake.domain.topic import TopicKind
from coldtake.learning.law import FLOOR, SHAPES, SPAN, Array

Whole = NDArray[np.int_]

PER_SHAPE = 96  # particles for each shape
PACE_SD = 0.8  # of log rate over all players' steps
PACE_WITHIN_SD = 0.6  # of log rate over one player's steps
PACES = (-0.8, -0.4, 0.0, 0.4, 0.8)
HOLD_MID_DAYS = 7.0  # half-life after the first day of work
HOLD_SD = 0.9  # of log half-life over all players' steps
HOLD_WITHIN_SD = 0.6
HOLDS = (-1.0, -0.5, 0.0, 0.5, 1.0)
SPAN_SD = 0.6
START_MID = 0.12
START_SD = 0.12
NEED_DOSE = 1.0  # rate times the minutes that the player expects: from the start to about 70 %

# Holding by kind of topic, as a factor of the half-life; guesses, no source.
HOLD_BY_KIND: dict[TopicKind, float] = {
    TopicKind.TECHNIQUE: 1.3,
    TopicKind.RHYTHM: 1.2,
    TopicKind.INTONATION: 0.9,
    TopicKind.READING: 0.9,
}


@dataclass(frozen=True, slots=True)
class Cloud:
    """The particles, each field of shape (N,), and what each type of player thinks of them.

    pace, hold : log deviations from the first guess of rate and half-life
    given_type : (K, N / K, G / K) weight of the particles of shape k for the player's types of
        that shape; sums to 1 over the particles
    type_chance : (K, G / K) first guess of the types
    """

    pace: Array
    hold: Array
    span: Array
    start: Array
    shape: Whole
    psi: Array
    curve: Array
    growth: Array
    loss: Array
    recovery_min: Array
    given_type: Array
    type_chance: Array


def _normal(values: Array, mid: float, sd: float) -> Array:
    return np.asarray(np.exp(-0.5 * ((values - mid) / sd) ** 2) / sd)


def _between(total: float, within: float) -> float:
    return float(np.sqrt(total**2 - within**2))


@lru_cache(maxsize=1)
def cloud() -> Cloud:
    """Build the cloud once."""
    shape = np.repeat(np.arange(len(SHAPES)), PER_SHAPE)
    points = np.concatenate([_points(seed) for seed in range(len(SHAPES))])
    pace, hold = points[:, 0] * PACE_SD, points[:, 1] * HOLD_SD
    of_shape = np.array([s.kinds for s in SHAPES])[shape]
    flat, chances = _types(pace, hold)
    weights = flat.reshape(len(SHAPES), PER_SHAPE, -1)
    chances = np.tile(chances / chances.sum() / len(SHAPES), (len(SHAPES), 1))
    return Cloud(
        pace=pace,
        hold=hold,
        span=np.clip(SPAN + SPAN_SD * points[:, 2], SPAN - 2.2, SPAN + 1.6),
        start=np.clip(START_MID + START_SD * points[:, 3], 0.0, 0.8),
        shape=shape,
        psi=of_shape[:, 0],
        curve=of_shape[:, 1],
        growth=of_shape[:, 2],
        loss=of_shape[:, 3],
        recovery_min=of_shape[:, 4],
        given_type=weights / weights.sum(axis=1, keepdims=True),
        type_chance=chances,
    )


def _points(seed: int) -> Array:
    sobol = qmc.Sobol(4, seed=20_000 + seed)
    return np.asarray(ndtri(sobol.random(128)[:PER_SHAPE]))


def _types(pace: Array, hold: Array) -> tuple[Array, Array]:
    """Weights (N, G / K) and first guess (G / K,) of the types of pace and holding."""
    wide = _normal(pace, 0.0, PACE_SD) * _normal(hold, 0.0, HOLD_SD)
    columns, chances = [], []
    for p in PACES:
        for h in HOLDS:
            narrow = _normal(pace, p, PACE_WITHIN_SD) * _normal(hold, h, HOLD_WITHIN_SD)
            columns.append(narrow / wide)
            of_pace = _normal(np.array(p), 0.0, _between(PACE_SD, PACE_WITHIN_SD))
            of_hold = _normal(np.array(h), 0.0, _between(HOLD_SD, HOLD_WITHIN_SD))
            chances.append(float(of_pace * of_hold))
    return np.stack(columns, axis=1), np.array(chances)


def first_rate(need_min: float) -> float:
    """Rate per minute of the middle particle for a step expected to need so many minutes."""
    return NEED_DOSE / need_min


def first_half_life(kind: TopicKind) -> float:
    """Half-life in days of the middle particle after its first day of work."""
    return HOLD_MID_DAYS * HOLD_BY_KIND.get(kind, 1.0)


assert FLOOR < 0.0 < FLOOR + SPAN
