"""What is thought about a step and a player before any try: a fixed cloud of possible steps.

Each particle is one way a step could be: how fast it is learned, how long it holds, how far it can
get, how much of it is there already, one of `memory_law.SHAPES`, and one of FALSE_CLEAN_RATES with
which the player judges. Most steps are new; a few are known for long (KNOWN_SHARE), or five clean
first tries of a piece brought along would be taken for five errors of the ear. The cloud is a
low-discrepancy sequence, the same for everybody, so equal logs give equal estimates.

A player is one of a few types (pace, how even it is, holding, shape, ear); a type says which
particles are likely for each of the player's steps. So other steps tell how fast this player
learns, how far the expected minutes can be trusted, how long things hold, and how kind the own ear
is. All widths are guesses, checked in bench/learning.
"""

from dataclasses import dataclass
from functools import lru_cache
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from coldtake.domain.topic import TopicKind
from coldtake.learning.memory_law import FLOOR, SHAPES, SPAN, Array, minutes_between

Whole = NDArray[np.int_]

NEW_PER_BLOCK = 48  # particles of a new step for each shape and ear
KNOWN_PER_BLOCK = 6  # particles of a step that was learnt before it was entered
BASES = (2, 3, 5, 7)  # of the sequence, one for each thing that a particle differs in
FALSE_CLEAN_RATES = (0.06, 0.2)  # share of unclean tries that the player calls clean; guesses
PACE_SD = 0.8  # of log rate over all players' steps
PACE_WITHIN_SDS = (0.4, 0.7)  # of log rate over one player's steps: even or uneven guesses of need
PACES = (-0.8, -0.4, 0.0, 0.4, 0.8)
HOLD_MID_DAYS = 9.0  # half-life after the first day of work
HOLD_SD = 0.9  # of log half-life over all players' steps
HOLD_WITHIN_SD = 0.6
HOLDS = (-0.8, 0.0, 0.8)
SPAN_SD = 0.6
START_MID = 0.12
START_SD = 0.12
KNOWN_SHARE = 0.01  # of steps, known when they are entered; a guess
KNOWN_START = (0.6, 0.98)  # skill of these, evenly
KNOWN_HOLD = 2.5  # of log half-life, by which they hold longer than after one day; a guess
NEED_SKILL = 0.71  # skill that the minutes expected by the player bring: clean 3 times in 4

# Holding by kind of topic, as a factor of the half-life; guesses, no source.
HOLD_BY_KIND: dict[TopicKind, float] = {
    TopicKind.TECHNIQUE: 1.3,
    TopicKind.RHYTHM: 1.2,
    TopicKind.INTONATION: 0.9,
    TopicKind.READING: 0.9,
}


@dataclass(frozen=True, slots=True)
class ParticlePrior:
    """The particles, each field of shape (N,), and what each type of player thinks of them.

    pace, hold : log deviations from the first guess of rate and half-life
    settled : log factor of the half-life at the start
    ear : share of unclean tries that the player calls clean
    given_type : (K, N / K, G / K) weight of the particles of block k (a shape with an ear) for the
        player's types of that block; sums to 1 over the particles
    type_chance : (K, G / K) first guess of the types
    """

    pace: Array
    hold: Array
    span: Array
    start: Array
    settled: Array
    ear: Array
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
def cloud() -> ParticlePrior:
    """Build the cloud once."""
    blocks = [(shape, ear) for shape in range(len(SHAPES)) for ear in FALSE_CLEAN_RATES]
    each = NEW_PER_BLOCK + KNOWN_PER_BLOCK
    known = np.tile(np.arange(each) >= NEW_PER_BLOCK, len(blocks))
    shape = np.repeat([b[0] for b in blocks], each)
    points = np.concatenate([_points(block, len(blocks)) for block in range(len(blocks))])
    pace, hold = points[:, 0] * PACE_SD, points[:, 1] * HOLD_SD
    of_shape = np.array([s.kinds for s in SHAPES])[shape]
    flat, chances = _types(pace, hold)
    chances = np.tile(chances / chances.sum() / len(blocks), (len(blocks), 1))
    new_start = np.clip(START_MID + START_SD * points[:, 3], 0.0, 0.8)
    return ParticlePrior(
        pace=pace,
        hold=hold,
        span=np.clip(SPAN + SPAN_SD * points[:, 2], SPAN - 2.2, SPAN + 1.6),
        start=np.where(known, np.interp(ndtr(points[:, 3]), (0.0, 1.0), KNOWN_START), new_start),
        settled=np.where(known, KNOWN_HOLD, 0.0),
        ear=np.repeat([b[1] for b in blocks], each),
        shape=shape,
        psi=of_shape[:, 0],
        curve=of_shape[:, 1],
        growth=of_shape[:, 2],
        loss=of_shape[:, 3],
        recovery_min=of_shape[:, 4],
        given_type=_shared(flat.reshape(len(blocks), each, -1)),
        type_chance=chances,
    )


def _shared(weights: Array) -> Array:
    """Give new and known steps their shares of each block (K, N / K, G / K) under each type."""
    new, known = np.split(weights, [NEW_PER_BLOCK], axis=1)
    parts = ((new, 1.0 - KNOWN_SHARE), (known, KNOWN_SHARE))
    return np.concatenate([w * share / w.sum(axis=1, keepdims=True) for w, share in parts], axis=1)


def _points(block: int, blocks: int) -> Array:
    """Standard normal deviates (N / K, 4), every block from its own stretches of the sequence."""
    new = 1 + block * NEW_PER_BLOCK + np.arange(NEW_PER_BLOCK)
    known = 1 + blocks * NEW_PER_BLOCK + block * KNOWN_PER_BLOCK + np.arange(KNOWN_PER_BLOCK)
    return np.asarray(ndtri(halton(np.concatenate([new, known]))))


def halton(index: Whole) -> Array:
    """Points (len(index), 4) in the unit cube, index >= 1: radical inverses in BASES.

    Halton 1960, Numerische Mathematik 2:84.
    """
    return np.stack([_radical_inverse(index, base) for base in BASES], axis=1)


def _radical_inverse(index: Whole, base: int) -> Array:
    left, share, found = index.copy(), 1.0 / base, np.zeros(len(index))
    while left.any():
        found += share * (left % base)
        left, share = left // base, share / base
    return found


def _types(pace: Array, hold: Array) -> tuple[Array, Array]:
    """Weights (N, G / K) and first guess (G / K,) of the types of pace, evenness and holding."""
    wide = _normal(pace, 0.0, PACE_SD) * _normal(hold, 0.0, HOLD_SD)
    columns, chances = [], []
    for p, within, h in product(PACES, PACE_WITHIN_SDS, HOLDS):
        narrow = _normal(pace, p, within) * _normal(hold, h, HOLD_WITHIN_SD)
        columns.append(narrow / wide)
        of_pace = _normal(np.array(p), 0.0, _between(PACE_SD, within))
        of_hold = _normal(np.array(h), 0.0, _between(HOLD_SD, HOLD_WITHIN_SD))
        chances.append(float(of_pace * of_hold))
    return np.stack(columns, axis=1), np.array(chances)


def first_rate(need_min: float) -> Array:
    """Rate per minute (N,) of the middle pace for a step expected to need so many minutes."""
    c = cloud()
    start, end = np.array(START_MID), np.array(NEED_SKILL)
    return minutes_between(start, end, np.array(1.0), c.curve) / need_min


def first_half_life(kind: TopicKind) -> float:
    """Half-life in days of the middle particle after its first day of work."""
    return HOLD_MID_DAYS * HOLD_BY_KIND.get(kind, 1.0)


assert FLOOR < 0.0 < FLOOR + SPAN
