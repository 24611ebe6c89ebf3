"""All steps of an evening seen ahead: what each of tomorrow's minutes leads to, at every price.

The posterior particles of each step are thinned to a few; each particle's future is read from the
tables of prices.py, then averaged, so uncertainty about the step is kept and only the learning
about it later on is left out (that is what a cold take's own value adds).
"""

from dataclasses import dataclass
from datetime import date

import numpy as np

from coldtake.domain.progress import Standing
from coldtake.domain.state import State
from coldtake.domain.topic import Place, StepPhase
from coldtake.learning import law
from coldtake.learning.beliefs import Beliefs, beliefs
from coldtake.learning.filter import try_chance, yes_chance
from coldtake.learning.law import Array
from coldtake.planning import prices
from coldtake.planning.prices import PRICES, Whole

THIN = 8  # particles kept for each step
WAITS = (3, 5, 8, 13, 22)  # days until its turn comes again when it is left out tomorrow
WAIT_MINUTES = (5.0, 10.0)
OPEN_DAYS = 56  # days looked ahead for a topic without a date
ON_DATE, KEPT = 0, 1  # rows of prices.AIMS
DONE = frozenset({StepPhase.MET, StepPhase.HELD, StepPhase.SLIPPED})


@dataclass(frozen=True, slots=True)
class Steps:
    """The steps that a plan may hold, S of them, in the state's order.

    rows : their rows in the beliefs; left : days from `day` to the date (or OPEN_DAYS)
    aim : 0 on a date, 1 kept; weight : importance; depth : unmet steps before this one, in a chain
    available : everything it needs has been met; done : it was met itself
    """

    ids: tuple[str, ...]
    rows: Whole
    left: Whole
    aim: Whole
    weight: Array
    available: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
    done: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
    depth: Whole
    needs: tuple[tuple[int, ...], ...]


@dataclass(frozen=True, slots=True)
class Thin:
    """M particles of each step, equally weighted, each (S, M); `gap` (S, 1) days since played."""

    skill: Array
    half_life: Array
    rate: Array
    shape: Whole
    span: Array
    gap: Array


@dataclass(frozen=True, slots=True)
class Prospect:
    """Value for weight 1 of tomorrow's choices, for each rung of PRICES.

    minutes : (K,) choices of work; after : (S, M, K, P) value after them, future minutes priced
    idle : (S, M, P) value of nothing tomorrow; never : (S, M) value of never working again
    yes : (S, M) chance that a cold take tomorrow is answered yes
    """

    steps: Steps
    beliefs: Beliefs
    thin: Thin
    minutes: Array
    after: Array
    idle: Array
    never: Array
    yes: Array


def plannable(state: State) -> tuple[str, ...]:
    """Topics that tomorrow may hold: the current ones; while none is, all that are waiting."""
    current = [t.id for t in state.topics.values() if t.place is Place.CURRENT]
    if current:
        return tuple(current)
    return tuple(t.id for t in state.topics.values() if t.place is Place.WAITING)


def steps_ahead(state: State, day: date, b: Beliefs) -> Steps:
    """Collect the plannable steps with their dates, weights and needs."""
    topics = set(plannable(state))
    ids = tuple(i for i in b.step_ids if state.steps[i].topic_id in topics)
    place = {step_id: n for n, step_id in enumerate(ids)}
    phases = state.phases(ids)
    met = {i for i in ids if phases[i] in DONE}
    needs = tuple(
        tuple(place[n] for n in state.steps[i].needs if n in place and n not in met) for i in ids
    )
    row = {step_id: n for n, step_id in enumerate(b.step_ids)}
    dates = [state.topics[state.steps[i].topic_id].performance_on for i in ids]
    left = [(d - day).days if d and d > day else 0 for d in dates]
    weights = [state.topics[state.steps[i].topic_id].importance / 3.0 for i in ids]
    return Steps(
        ids=ids,
        rows=np.array([row[i] for i in ids], dtype=int),
        left=np.array([min(n, prices.DAYS_MOST) if n else OPEN_DAYS for n in left], dtype=int),
        aim=np.array([ON_DATE if n else KEPT for n in left], dtype=int),
        weight=np.array(weights),
        available=np.array([not n for n in needs], dtype=bool),
        done=np.array([i in met for i in ids], dtype=bool),
        depth=_depths(needs),
        needs=needs,
    )


def _depths(needs: tuple[tuple[int, ...], ...]) -> Whole:
    """Longest chain of unmet steps before each; a circle (never kept by the pile) counts once."""
    known: dict[int, int] = {}

    def depth(i: int, above: frozenset[int]) -> int:
        if i not in known:
            below = [depth(n, above | {i}) + 1 for n in needs[i] if n not in above]
            known[i] = max(below, default=0)
        return known[i]

    return np.array([depth(i, frozenset({i})) for i in range(len(needs))], dtype=int)


def thinned(b: Beliefs, rows: Whole, count: int = THIN) -> Thin:
    """Take the particles at equal shares of the posterior, ordered by their skill now."""
    skill, weight = b.skill[rows], b.weight[rows]
    order = np.argsort(skill - 0.05 * np.log(b.half_life[rows]), axis=1)
    reached = np.cumsum(np.take_along_axis(weight, order, axis=1), axis=1)
    shares = (np.arange(count) + 0.5) / count
    spots = (reached[:, None, :] < shares[None, :, None]).sum(axis=2)
    chosen = np.take_along_axis(order, np.minimum(spots, skill.shape[1] - 1), axis=1)
    span = b.cloud.span[chosen]
    return Thin(
        skill=np.take_along_axis(skill, chosen, axis=1),
        half_life=np.take_along_axis(b.half_life[rows], chosen, axis=1),
        rate=np.take_along_axis(b.rate[rows], chosen, axis=1),
        shape=b.cloud.shape[chosen],
        span=span,
        gap=b.gap_days[rows][:, None],
    )


_KINDS = np.array([s.kinds for s in law.SHAPES]).T
_PSI = _KINDS[0]


def moved(thin: Thin, days: float, minutes: float) -> tuple[Array, Array]:
    """Skill and half-life after `days` more without playing, then minutes of work."""
    psi, curve, growth, loss, recovery = _KINDS[:, thin.shape]
    kinds = (psi, curve, growth, loss, recovery)
    return law.after_day(thin.skill, thin.half_life, thin.gap + days, minutes, thin.rate, kinds)


def _ladder(steps: Steps, thin: Thin, days: int, minutes: float) -> Array:
    """Value for each price after `days` and then minutes of work, without the price of these."""
    skill, half_life = moved(thin, float(days), minutes)
    kind = prices.Kind(steps.aim[:, None], thin.shape)
    seen = skill * thin.span / law.SPAN  # the tables know one span only
    left = (steps.left - days)[:, None]
    return prices.ladder_after(kind, left, seen, half_life, thin.rate)


def chances(thin: Thin, days: Array | float) -> Array:
    """Chance of a clean cold take of each particle after `days` more without playing."""
    kept = law.retention(thin.gap + days, thin.half_life, _PSI[thin.shape])
    return law.clean_chance(thin.skill * kept, thin.span)


_FINAL = np.array([a.final for a in prices.AIMS])
_FLOW = np.array([a.kept_per_day for a in prices.AIMS])
_KNOTS = np.array([0.0, 0.05, 0.15, 0.3, 0.5, 0.75, 1.0])


def _never(steps: Steps, thin: Thin) -> Array:
    left = steps.left[:, None].astype(float)
    along = np.stack([chances(thin, left * k) for k in _KNOTS])
    kept = np.trapezoid(along, _KNOTS, axis=0) * left
    return np.asarray(_FLOW[steps.aim][:, None] * kept + _FINAL[steps.aim][:, None] * along[-1])


def _idle(steps: Steps, thin: Thin, never: Array) -> Array:
    """Best of waiting some days, then working; or never."""
    best = np.repeat(never[..., None], len(PRICES), axis=-1)
    flow = np.zeros_like(never)
    before = 0
    for wait in WAITS:
        middle = chances(thin, (before + wait) / 2.0 + 0.5)
        flow = flow + _FLOW[steps.aim][:, None] * middle * (wait - before)
        before = wait
        possible = (steps.left > wait)[:, None, None]
        dear = prices.DEARNESS[np.maximum(steps.left - wait, 0), steps.aim]
        for minutes in WAIT_MINUTES:
            then = _ladder(steps, thin, wait, minutes) + flow[..., None]
            then -= PRICES * minutes * dear[:, None, None]
            best = np.where(possible, np.maximum(best, then), best)
    return best


def prospect(state: State, day: date, slot_most: int) -> Prospect:
    """Look ahead from the evening before `day`."""
    topics = set(plannable(state))
    b = beliefs(state, day, {i for i, s in state.steps.items() if s.topic_id in topics})
    steps = steps_ahead(state, day, b)
    thin = thinned(b, steps.rows)
    minutes = np.unique(np.array([2, 4, 6, 9, slot_most], dtype=float))
    minutes = minutes[minutes <= slot_most]
    never = _never(steps, thin)
    after = np.stack([_ladder(steps, thin, 0, m) for m in minutes], axis=2)
    idle = _idle(steps, thin, never)
    cold = try_chance(
        thin.skill * law.retention(thin.gap, thin.half_life, _PSI[thin.shape]),
        thin.span,
        warm=False,
    )
    return Prospect(steps, b, thin, minutes, after, idle, never, yes_chance(cold, heard=False))


def kept_up(state: State) -> set[str]:
    """Topics in which every step has been met."""
    return {i for i, s in state.standings().items() if s is Standing.KEPT_UP}
