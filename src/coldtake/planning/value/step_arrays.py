"""The steps of an evening and what is believed of each: dates, needs, and a few possible truths."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from coldtake.domain.history.state import State
from coldtake.domain.requirement import Requirement
from coldtake.domain.topic import MET_ONCE, Place
from coldtake.learning import memory_law
from coldtake.learning.memory_law import Array
from coldtake.learning.posterior import Posterior, cold_chances
from coldtake.planning.value.at_hand import days_served, lacks
from coldtake.planning.value.minutes_ahead import EVEN, DayShares, shares_ahead

Whole = NDArray[np.int_]
Flags = NDArray[np.bool_]

THIN = 8  # particles kept for each step
OPEN_DAYS = 56  # days looked ahead for a topic without a date
DAYS_MOST = 84  # days looked ahead at the most
ON_DATE, KEPT = 0, 1  # what counts: the chance on the date, or its average


@dataclass(frozen=True, slots=True)
class StepArrays:
    """The steps that a plan may hold, S of them, in the state's order.

    topics : id of the topic of each; rows : their rows in the beliefs
    left : days from `day` to the date (or OPEN_DAYS)
    aim : 0 on a date, 1 kept; weight : importance; depth : unmet steps before this one, in a chain
    available : everything it needs has been met; done : it was met itself
    here : what playing it needs is at hand; served : days from `day` on which an appointment
        serves a step that cannot be played otherwise
    shares : what each day from `day` on has of an average day's minutes
    """

    ids: tuple[str, ...]
    topics: tuple[str, ...]
    rows: Whole
    left: Whole
    aim: Whole
    weight: Array
    available: Flags
    done: Flags
    depth: Whole
    needs: tuple[tuple[int, ...], ...]
    here: Flags
    served: tuple[tuple[int, ...], ...]
    shares: DayShares = EVEN


@dataclass(frozen=True, slots=True)
class ThinnedParticles:
    """M particles of each step, equally weighted, each (S, M); `gap` (S, 1) days since played."""

    skill: Array
    half_life: Array
    rate: Array
    shape: Whole
    span: Array
    gap: Array


def plannable(state: State) -> tuple[str, ...]:
    """Topics that tomorrow may hold: the current ones; while none is, all that are waiting."""
    current = [t.id for t in state.topics.values() if t.place is Place.CURRENT]
    if current:
        return tuple(current)
    return tuple(t.id for t in state.topics.values() if t.place is Place.WAITING)


def steps_ahead(
    state: State, day: date, b: Posterior, at_hand: Iterable[Requirement] | None = None
) -> StepArrays:
    """Collect the plannable steps with their dates, weights and needs.

    at_hand : what there is, None: what the player usually has
    """
    topics = set(plannable(state))
    ids = tuple(i for i in b.step_ids if state.steps[i].topic_id in topics)
    place = {step_id: n for n, step_id in enumerate(ids)}
    phases = state.phases(ids)
    met = {i for i in ids if phases[i] in MET_ONCE}
    needs = tuple(
        tuple(place[n] for n in state.steps[i].needs if n in place and n not in met) for i in ids
    )
    row = {step_id: n for n, step_id in enumerate(b.step_ids)}
    dates = [state.topic_date(state.steps[i].topic_id, day) for i in ids]
    left = [(d - day).days if d and d > day else 0 for d in dates]
    weights = [state.topics[state.steps[i].topic_id].importance / 3.0 for i in ids]
    return StepArrays(
        ids=ids,
        topics=tuple(state.steps[i].topic_id for i in ids),
        rows=np.array([row[i] for i in ids], dtype=int),
        left=np.array([min(n, DAYS_MOST) if n else OPEN_DAYS for n in left], dtype=int),
        aim=np.array([ON_DATE if n else KEPT for n in left], dtype=int),
        weight=np.array(weights),
        available=np.array([not n for n in needs], dtype=bool),
        done=np.array([i in met for i in ids], dtype=bool),
        depth=_depths(needs),
        needs=needs,
        here=np.array([not lacks(state, state.steps[i], at_hand) for i in ids], dtype=bool),
        served=tuple(days_served(state, state.steps[i], day, DAYS_MOST) for i in ids),
        shares=shares_ahead(state, day),
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


def thinned(b: Posterior, rows: Whole, count: int = THIN) -> ThinnedParticles:
    """Take the particles at equal shares of the posterior, ordered by their skill now."""
    skill, weight = b.skill[rows], b.weight[rows]
    order = np.argsort(skill - 0.05 * np.log(b.half_life[rows]), axis=1)
    reached = np.cumsum(np.take_along_axis(weight, order, axis=1), axis=1)
    shares = (np.arange(count) + 0.5) / count
    spots = (reached[:, None, :] < shares[None, :, None]).sum(axis=2)
    chosen = np.take_along_axis(order, np.minimum(spots, skill.shape[1] - 1), axis=1)
    span = b.cloud.span[chosen]
    return ThinnedParticles(
        skill=np.take_along_axis(skill, chosen, axis=1),
        half_life=np.take_along_axis(b.half_life[rows], chosen, axis=1),
        rate=np.take_along_axis(b.rate[rows], chosen, axis=1),
        shape=b.cloud.shape[chosen],
        span=span,
        gap=b.gap_days[rows][:, None],
    )


KINDS = np.array([s.kinds for s in memory_law.SHAPES]).T
PSI = KINDS[0]


def moved(thin: ThinnedParticles, days: float, minutes: float) -> tuple[Array, Array]:
    """Skill and half-life after `days` more without playing, then minutes of work."""
    psi, curve, growth, loss, recovery = KINDS[:, thin.shape]
    kinds = (psi, curve, growth, loss, recovery)
    return memory_law.after_day(
        thin.skill, thin.half_life, thin.gap + days, minutes, thin.rate, kinds
    )


def chances(thin: ThinnedParticles, days: Array | float) -> Array:
    """Chance of a clean cold take of each particle after `days` more without playing."""
    kept = memory_law.retention(thin.gap + days, thin.half_life, PSI[thin.shape])
    return memory_law.clean_chance(thin.skill * kept, thin.span)


def believed(b: Posterior, rows: Whole) -> Array:
    """Chance of a clean cold take now, averaged over the posterior (S,)."""
    return np.asarray((cold_chances(b) * b.weight).sum(axis=1)[rows])
