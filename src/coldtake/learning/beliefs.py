"""What is believed about all steps of a player at once: the hierarchy above the step filters.

Given the player's type the steps are independent, so the player's posterior is the product of the
steps' marginal likelihoods under each type: exact for the particle cloud, and cheap. `TRUST` < 1
tempers the product because the steps of a real player are more alike than the types allow for.
"""

from dataclasses import dataclass
from datetime import date

import numpy as np

from coldtake.domain.state import State
from coldtake.domain.topic import TopicKind
from coldtake.learning import law
from coldtake.learning.filter import StepFilter, advance, fresh, half_life_now, skill_now
from coldtake.learning.history import History, histories
from coldtake.learning.law import Array
from coldtake.learning.prior import Cloud, cloud

TRUST = 0.7
ENOUGH_ANSWERS = 3
ENOUGH_DAYS = 2


@dataclass(frozen=True, slots=True)
class Beliefs:
    """Particles of S steps: skill at the last playing, half-life, rate, weights, each (S, N).

    gap_days : (S,) days from the last playing to `on`; 0 for a step never played
    types : (K, G / K) posterior of the player's types, see prior.Cloud
    """

    on: date
    step_ids: tuple[str, ...]
    skill: Array
    half_life: Array
    rate: Array
    weight: Array
    gap_days: Array
    types: Array
    cloud: Cloud
    filters: tuple[StepFilter, ...]

    def index(self, step_id: str) -> int:
        """Return the row of a step."""
        return self.step_ids.index(step_id)


def beliefs(state: State, on: date) -> Beliefs:
    """Filter the log up to and including `on`, all steps in the state's order."""
    told = histories(state, on)
    filters = tuple(_filter_of(state, i, told.get(i, ())) for i in state.steps)
    c = cloud()
    count = len(c.pace)
    if not filters:
        empty = np.zeros((0, count))
        return Beliefs(on, (), empty, empty, empty, empty, np.zeros(0), c.type_chance, c, filters)
    weight, types = weigh(np.stack([f.loglik for f in filters]), c)
    gaps = [on.toordinal() - f.day if f.day is not None else 0 for f in filters]
    return Beliefs(
        on=on,
        step_ids=tuple(state.steps),
        skill=np.stack([skill_now(f) for f in filters]),
        half_life=np.stack([half_life_now(f) for f in filters]),
        rate=np.stack([f.rate for f in filters]),
        weight=weight,
        gap_days=np.array(gaps, dtype=float),
        types=types,
        cloud=c,
        filters=filters,
    )


def _filter_of(state: State, step_id: str, history: History) -> StepFilter:
    step = state.steps[step_id]
    topic = state.topics.get(step.topic_id)
    kind = topic.kind if topic else TopicKind.OTHER
    if not history:
        return fresh(step.need_min, kind)
    return advance(step_id, step.need_min, kind, history)


def weigh(loglik: Array, c: Cloud) -> tuple[Array, Array]:
    """Return particle weights (S, N), rows summing to 1, and the posterior of the types (K, G / K).

    Steps that were never played all look alike and say nothing: they are weighed once.
    """
    rows, back = np.unique(
        np.any(loglik != 0.0, axis=1) * np.arange(1, len(loglik) + 1), return_inverse=True
    )
    kept = np.array([np.flatnonzero(back == i)[0] for i in range(len(rows))])
    likelihood = np.exp(loglik[kept] - loglik[kept].max(axis=1, keepdims=True))
    by_shape = likelihood.reshape(len(kept), len(c.given_type), -1).transpose(1, 0, 2)
    marginal = np.maximum(by_shape @ c.given_type, 1e-300)
    said = (rows > 0)[None, :, None]
    log_types = np.log(c.type_chance) + TRUST * np.where(said, np.log(marginal), 0.0).sum(axis=1)
    types = np.exp(log_types - log_types.max())
    types /= types.sum()
    share = (types[:, None, :] / marginal) @ c.given_type.transpose(0, 2, 1)
    weight = (by_shape * share).transpose(1, 0, 2).reshape(len(kept), -1)
    return (weight / weight.sum(axis=1, keepdims=True))[back], types


def cold_chances(b: Beliefs, more_days: float = 0.0) -> Array:
    """Chance of a clean cold take of each particle (S, N), `more_days` after b.on, unpractised."""
    days = (b.gap_days + more_days)[:, None]
    kept = law.retention(days, b.half_life, b.cloud.psi)
    return law.clean_chance(b.skill * kept, b.cloud.span)


def quantiles(values: Array, weight: Array, shares: tuple[float, ...]) -> Array:
    """Weighted quantiles of each row: (S, N), (S, N) -> (len(shares), S)."""
    order = np.argsort(values, axis=1)
    ordered = np.take_along_axis(values, order, axis=1)
    reached = np.cumsum(np.take_along_axis(weight, order, axis=1), axis=1)
    rows = np.arange(len(values))
    last = values.shape[1] - 1
    places = [np.minimum((reached < s).sum(axis=1), last) for s in shares]
    return np.stack([ordered[rows, p] for p in places])


def enough(f: StepFilter) -> bool:
    """Say whether there are takes enough to show numbers as more than a first guess."""
    return f.answers >= ENOUGH_ANSWERS and f.days >= ENOUGH_DAYS


def enough_rows(b: Beliefs) -> tuple[bool, ...]:
    """Say for every step whether there are takes enough."""
    return tuple(enough(f) for f in b.filters)
