"""What a step's future is worth at a price per minute: a dynamic programme for one step.

Practice days couple only through the minutes, so the minutes get a price and each step is solved by
itself (Lagrangian relaxation of a weakly coupled problem: Hawkins 2003, MIT thesis, "A Lagrangian
decomposition approach to weakly coupled dynamic optimization"; Adelman and Mersereau 2008,
Operations Research 56:712). State of a step right after a day of work: skill, half-life, days to
go. Decision: after how many days to work on it again, and how long; or never. Value, for weight 1:

    `kept` * chance of a clean cold take averaged over the days + `final` * that chance on the date
    - price * minutes

solved backwards for a ladder of prices and of learning rates at once. The tables depend on no
player, only on the shape of law, and are made once a process.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from coldtake.learning import law
from coldtake.learning.law import Array, Shape

Floats = NDArray[np.float32]
Whole = NDArray[np.int_]

SKILLS = np.array([0.0, 0.15, 0.3, 0.42, 0.52, 0.6, 0.67, 0.74, 0.81, 0.88, 0.94, 0.99])
HALF_LIVES = 1.5 * 2.0 ** np.arange(0, 8.5, 1.0)  # 1.5 to 384 days
RATES = 0.005 * 2.2 ** np.arange(0, 5.0)  # 0.005 to 0.117 a minute
PRICES = 0.0004 * 2.0 ** np.arange(0, 8.0)  # 0.0004 to 0.05 points of chance a minute
MINUTES = (5.0, 10.0)
GAPS = (1, 2, 3, 5, 8, 13, 21, 34)
DAYS_MOST = 84  # days looked ahead


@dataclass(frozen=True, slots=True)
class Aim:
    """What counts: the chance on the date, and its average over the days to it."""

    final: float
    kept_per_day: float


ON_DATE = Aim(final=0.7, kept_per_day=0.3 / 56)
KEPT = Aim(final=0.0, kept_per_day=1.0 / 56)  # a date that never comes would put off everything
AIMS = (ON_DATE, KEPT)
DEAR_DAYS, DEAR_POWER = 20.0, 1.0


def _dearness() -> Array:
    """Price of a minute by days to go and aim, as a share of the price on the last day.

    With one price for all days every course to a date would wait for the last ones, when little is
    forgotten any more; the price has to rise towards the date so that each day's minutes are taken.
    What is to be kept has no such day: one price, the average of the others'.
    """
    rising = (1.0 + np.arange(DAYS_MOST + 1) / DEAR_DAYS) ** -DEAR_POWER
    return np.stack([rising, np.full_like(rising, rising[:57].mean())], axis=1)


DEARNESS = _dearness()  # [days to go, aim]
MEAN_DEARNESS = np.cumsum(DEARNESS, axis=0) / np.arange(1, DAYS_MOST + 2)[:, None]


@dataclass(frozen=True, slots=True)
class _Corners:
    """Where values fall on a grid: lower index and share of the upper one."""

    low: NDArray[np.intp]
    share: Array


def _corners(grid: Array, values: Array) -> _Corners:
    low = np.clip(np.searchsorted(grid, values, side="right") - 1, 0, len(grid) - 2)
    share = (values - grid[low]) / (grid[low + 1] - grid[low])
    return _Corners(low, np.clip(share, 0.0, 1.0))


_LOG_HALF_LIVES, _LOG_RATES, _LOG_PRICES = np.log(HALF_LIVES), np.log(RATES), np.log(PRICES)


def idle_chances(skill: Array, half_life: Array, psi: float, days: int) -> Array:
    """Chance of a clean cold take after 0 … `days` days without playing, last axis."""
    ahead = np.arange(days + 1, dtype=float)
    kept = law.retention(ahead, half_life[..., None], psi)
    return law.clean_chance(skill[..., None] * kept)


def table(shape: Shape) -> Floats:
    """Solve one shape of law: [days to go, rate, skill, half-life, aim, price], after work."""
    skill, half_life = np.meshgrid(SKILLS, HALF_LIVES, indexing="ij")
    chance = idle_chances(skill, half_life, shape.psi, DAYS_MOST)
    soon = np.cumsum(chance[..., 1:], axis=-1)
    final = np.array([a.final for a in AIMS])
    kept = np.array([a.kept_per_day for a in AIMS])
    moves = [(gap, _move(shape, skill, half_life, gap)) for gap in GAPS]
    cost = np.array(MINUTES)[:, None, None] * PRICES
    cost = (DEARNESS[:, None, :, None] * cost).astype(np.float32)
    size = (len(RATES), len(SKILLS), len(HALF_LIVES), len(AIMS), len(PRICES))
    value = np.empty((DAYS_MOST + 1, *size), dtype=np.float32)
    value[0] = (chance[..., 0, None] * final)[None, ..., None]
    for left in range(1, DAYS_MOST + 1):
        never = soon[..., left - 1, None] * kept + chance[..., left, None] * final
        best = np.broadcast_to(never[None, ..., None], size).astype(np.float32)
        for gap, move in moves:
            if gap < left:
                flat = value[left - gap].reshape(move.shape[1], -1)
                then = (move @ flat).reshape(len(MINUTES), *size)
                then -= cost[left - gap][:, None, None, None]
                flow = (soon[..., gap - 1, None] * kept).astype(np.float32)
                np.maximum(best, then.max(axis=0) + flow[None, ..., None], out=best)
        value[left] = best
    return value


def _move(shape: Shape, skill: Array, half_life: Array, gap: int) -> csr_array:
    """Where work after a gap leads: from each state, for each length, to corners of the grid."""
    rates = RATES[:, None, None]
    parts = []
    for minutes in MINUTES:
        s, h = law.after_day(skill[None], half_life[None], float(gap), minutes, rates, shape.kinds)
        parts.append(_corner_weights(s, np.broadcast_to(h, s.shape)))
    index = np.concatenate([p[0] for p in parts])
    weight = np.concatenate([p[1] for p in parts]).astype(np.float32)
    rows = np.arange(0, index.size + 1, index.shape[1])
    states = len(RATES) * len(SKILLS) * len(HALF_LIVES)
    return csr_array((weight.ravel(), index.ravel(), rows), shape=(len(index), states))


def _corner_weights(s: Array, h: Array) -> tuple[Whole, Array]:
    """Flat indices and weights of the four corners around each state: (states, 4) both."""
    a, b = _corners(SKILLS, s), _corners(_LOG_HALF_LIVES, np.log(h))
    wide = len(HALF_LIVES)
    rate = (np.arange(len(RATES)) * len(SKILLS) * wide)[:, None, None]
    start = rate + a.low * wide + b.low
    index = np.stack([start, start + 1, start + wide, start + wide + 1], axis=-1)
    u, v = a.share, b.share
    weight = np.stack([(1 - u) * (1 - v), (1 - u) * v, u * (1 - v), u * v], axis=-1)
    return index.reshape(-1, 4), weight.reshape(-1, 4)


@lru_cache(maxsize=1)
def tables() -> Floats:
    """All tables: [shape of law, days to go, rate, skill, half-life, aim, price]."""
    return np.stack([table(shape) for shape in law.SHAPES])


@dataclass(frozen=True, slots=True)
class Kind:
    """Which table a step or particle uses: indices into AIMS and law.SHAPES, broadcastable."""

    aim: Whole
    shape: Whole


def ladder_after(kind: Kind, left: Whole, skill: Array, half_life: Array, rate: Array) -> Array:
    """Value right after work with so many days to go, for every price of PRICES (last axis).

    All arrays broadcast against each other; values outside a grid are taken at its edge.
    """
    known = tables()
    flat = known.reshape(-1, len(PRICES))
    steps = np.array(known.strides[:-1]) // known.strides[-2]
    base = kind.shape * steps[0] + np.clip(left, 0, DAYS_MOST) * steps[1] + kind.aim
    axes = (
        _corners(_LOG_RATES, np.log(rate)),
        _corners(SKILLS, skill),
        _corners(_LOG_HALF_LIVES, np.log(half_life)),
    )
    for axis, step in zip(axes, steps[2:5], strict=True):
        base = base + axis.low * step
    out = np.zeros((*base.shape, len(PRICES)), dtype=np.float32)
    for corner in range(8):
        offset, weight = 0, np.ones(base.shape)
        for k, axis in enumerate(axes):
            up = corner >> k & 1
            offset += int(steps[k + 2]) * up
            weight = weight * (axis.share if up else 1.0 - axis.share)
        out += weight[..., None].astype(np.float32) * flat[base + offset]
    return out.astype(float)


def at_price(ladder: Array, price: Array) -> Array:
    """Read a ladder (…, P) at a price per minute for weight 1, (…); straight lines between."""
    place = _corners(_LOG_PRICES, np.log(price))
    low = np.take_along_axis(ladder, place.low[..., None], axis=-1)[..., 0]
    high = np.take_along_axis(ladder, place.low[..., None] + 1, axis=-1)[..., 0]
    return np.asarray(low + place.share * (high - low))


def minutes_at(ladder: Array, price: Array) -> Array:
    """Minutes, each times its day's dearness, that the best course takes: minus the value's slope.

    The value is convex in the price (an upper envelope), so the slopes between the rungs fall.
    """
    slopes = -np.diff(ladder, axis=-1) / np.diff(PRICES)
    middle = np.log((PRICES[1:] + PRICES[:-1]) / 2.0)
    place = _corners(middle, np.log(price))
    low = np.take_along_axis(slopes, place.low[..., None], axis=-1)[..., 0]
    high = np.take_along_axis(slopes, place.low[..., None] + 1, axis=-1)[..., 0]
    return np.maximum(low + place.share * (high - low), 0.0)
