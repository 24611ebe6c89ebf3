"""What is believed about all steps of a player at once: the hierarchy above the step filters.

Given the player's type the steps are independent, so the player's posterior is the product of the
steps' marginal likelihoods under each type: exact for the particle cloud, and cheap. `TRUST` < 1
tempers the product because the steps of a real player are more alike than the types allow for.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from coldtake.domain.history.state import State
from coldtake.domain.topic import TopicKind
from coldtake.learning import memory_law
from coldtake.learning.filter import StepFilter, advance, fresh, half_life_now, skill_now
from coldtake.learning.history import history
from coldtake.learning.likelihood_cache import KNOWN, About, StepLikelihood
from coldtake.learning.memory_law import Array
from coldtake.learning.prior import ParticlePrior, cloud

TRUST = 0.7
ENOUGH_ANSWERS = 3
ENOUGH_DAYS = 2


@dataclass(frozen=True, slots=True)
class Posterior:
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
    cloud: ParticlePrior
    filters: tuple[StepFilter, ...]

    def index(self, step_id: str) -> int:
        """Return the row of a step."""
        return self.step_ids.index(step_id)


def player_types(state: State, on: date) -> Array:
    """Return the posterior of the player's types from the log up to and including `on`."""
    return types_of([known for i in state.steps for known in _said(state, i, on)], cloud())


def beliefs(
    state: State,
    on: date,
    only: Collection[str] | None = None,
    *,
    types: Array | None = None,
) -> Posterior:
    """Filter the log up to and including `on`, steps in the state's order.

    only : ids of the steps wanted, default all. What the other steps say of the player counts the
        same, but their particles are not held: a diary of ten years has two thousand steps
    types : the player's types where they are known already, as from `player_types`
    """
    c = cloud()
    ids = tuple(i for i in state.steps if only is None or i in only)
    types = player_types(state, on) if types is None else types
    filters = tuple(_filter_of(state, i, on) for i in ids)
    if not filters:
        empty = np.zeros((0, len(c.pace)))
        return Posterior(on, (), empty, empty, empty, empty, np.zeros(0), types, c, filters)
    gaps = [on.toordinal() - f.day if f.day is not None else 0 for f in filters]
    return Posterior(
        on=on,
        step_ids=ids,
        skill=np.stack([skill_now(f) for f in filters]),
        half_life=np.stack([half_life_now(f) for f in filters]),
        rate=np.stack([f.rate for f in filters]),
        weight=weigh(np.stack([f.loglik for f in filters]), types, c),
        gap_days=np.array(gaps, dtype=float),
        types=types,
        cloud=c,
        filters=filters,
    )


def _about(state: State, step_id: str) -> About:
    step = state.steps[step_id]
    topic = state.topics.get(step.topic_id)
    return step.need_min, topic.kind if topic else TopicKind.OTHER


def _filter_of(state: State, step_id: str, on: date) -> StepFilter:
    need_min, kind = _about(state, step_id)
    if step_id not in state.pasts:
        return fresh(need_min, kind)
    told = history(state.past(step_id), on)
    return advance(step_id, need_min, kind, told) if told else fresh(need_min, kind)


def _said(state: State, step_id: str, on: date) -> tuple[Array, ...]:
    """Return what one step's answers say about the player's types, or nothing."""
    step_print = state.prints.get(step_id)
    if step_print is None:
        return ()
    about = _about(state, step_id)
    known = KNOWN.get(step_id)
    if known is None or (known.about, known.step_print) != (about, step_print):
        known = KNOWN.find(step_id, _known(state, step_id, about, step_print))
    if known.last_day > on.toordinal():  # a look back: rare, and computed as such
        return said_of(_filter_of(state, step_id, on))
    return known.said


def _known(state: State, step_id: str, about: About, step_print: str) -> StepLikelihood:
    last = max(state.past(step_id).days, default=date.min)
    said = said_of(_filter_of(state, step_id, last))
    return StepLikelihood(about, step_print, last.toordinal(), said)


def said_of(f: StepFilter) -> tuple[Array, ...]:
    """Log of a step's marginal likelihood under each type (K, G / K); nothing without an answer.

    Steps that were never answered all look alike and say nothing.
    """
    if not np.any(f.loglik != 0.0):
        return ()
    c = cloud()
    return (np.log(_marginal(f.loglik[None, :], c)[1][:, 0, :]),)


def _marginal(loglik: Array, c: ParticlePrior) -> tuple[Array, Array]:
    """Likelihood by shape (K, S, N / K), and its mean under each type (K, S, G / K)."""
    likelihood = np.exp(loglik - loglik.max(axis=1, keepdims=True))
    by_shape = likelihood.reshape(len(loglik), len(c.given_type), -1).transpose(1, 0, 2)
    return by_shape, np.maximum(by_shape @ c.given_type, 1e-300)


def types_of(said: Sequence[Array], c: ParticlePrior) -> Array:
    """Return the posterior of the player's types (K, G / K) from what the steps say."""
    log_types = np.log(c.type_chance)
    if said:
        log_types = log_types + TRUST * np.sum(said, axis=0)
    types = np.exp(log_types - log_types.max())
    return np.asarray(types / types.sum())


def weigh(loglik: Array, types: Array, c: ParticlePrior) -> Array:
    """Return particle weights (S, N), rows summing to 1. Steps without an answer share a row."""
    rows, back = np.unique(
        np.any(loglik != 0.0, axis=1) * np.arange(1, len(loglik) + 1), return_inverse=True
    )
    kept = np.array([np.flatnonzero(back == i)[0] for i in range(len(rows))])
    by_shape, marginal = _marginal(loglik[kept], c)
    share = (types[:, None, :] / marginal) @ c.given_type.transpose(0, 2, 1)
    weight = (by_shape * share).transpose(1, 0, 2).reshape(len(kept), -1)
    return np.asarray((weight / weight.sum(axis=1, keepdims=True))[back])


def cold_chances(b: Posterior, more_days: Array | float = 0.0) -> Array:
    """Chance of a clean cold take of each particle (S, N), `more_days` after b.on, unpractised.

    more_days : for all steps, or for each (S,)
    """
    days = (b.gap_days + more_days)[:, None]
    kept = memory_law.retention(days, b.half_life, b.cloud.psi)
    return memory_law.clean_chance(b.skill * kept, b.cloud.span)


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


def enough_rows(b: Posterior) -> tuple[bool, ...]:
    """Say for every step whether there are takes enough."""
    return tuple(enough(f) for f in b.filters)
