"""The days ahead, simulated many times: what a policy of practice leads to for this player.

Each draw is one possible player and one possible truth for every step, from the posterior; all
courses meet the same draws and the same days (common random numbers: Glasserman and Yao 1992,
Management Science 38:884), so that they can be told apart with few. This is a rollout (Bertsekas
and Castanon 1999, Journal of Heuristics 5:89): tonight's plan is the first day of the best course.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coldtake.learning import memory_law
from coldtake.learning.memory_law import Array
from coldtake.learning.posterior import Posterior
from coldtake.planning.value import priority_index
from coldtake.planning.value.priority_index import IndexPolicy
from coldtake.planning.value.step_arrays import (
    KINDS,
    PSI,
    Flags,
    StepArrays,
    ThinnedParticles,
    Whole,
)

FINAL_SHARE = 0.7  # of the chance on the date; the rest is its average over the days to it
LOOKS = 8  # days on which the average is taken
LONGEST_MIN = 20.0  # of one step in a day
READY = 0.7  # a step counts as ready from this chance of a clean cold take on
TRIES_MISSED = 0.12  # share of unclean tries that are called clean


@dataclass(frozen=True, slots=True)
class CalendarAssumptions:
    """How the coming days go: minutes of a session, share of days that have one, its topics.

    minutes : on an average day; the steps' `shares` say which days have more or fewer, or none
    tries : answered tries of a step on a day on which it is played
    anew : days after which it is thought over again what fits until its date; 0: never, as tonight
    """

    minutes: float
    share: float
    topics: int
    tries: float = 1.0
    anew: int = 0


@dataclass(frozen=True, slots=True)
class RolloutResult:
    """One course over D draws: chance on the date, average to it, first ready day or -1: (S, D)."""

    final: Array
    average: Array
    ready: Array

    def worth(self, steps: StepArrays) -> Array:
        """Importance-weighted score of each draw (D,); what has no date counts by its average."""
        dated = np.equal(steps.aim, 0)[:, None]
        mixed = FINAL_SHARE * self.final + (1.0 - FINAL_SHARE) * self.average
        score = np.where(dated, mixed, self.average)
        return np.asarray((steps.weight[:, None] * score).sum(axis=0) / steps.weight.sum())


def drawn(
    b: Posterior, steps: StepArrays, count: int, rng: np.random.Generator
) -> ThinnedParticles:
    """Draw players, then for each a particle of every step, given the player's type: (S, count)."""
    loglik = np.stack([b.filters[r].loglik for r in steps.rows])
    likelihood = np.exp(loglik - loglik.max(axis=1, keepdims=True))
    _, size, kinds = b.cloud.given_type.shape
    types = rng.choice(b.types.size, size=count, p=b.types.ravel())
    chosen = np.empty((len(steps.rows), count), dtype=int)
    for d, (k, g) in enumerate(zip(*np.divmod(types, kinds), strict=True)):
        own = likelihood[:, k * size : (k + 1) * size] * b.cloud.given_type[k, :, g]
        reached = np.cumsum(own, axis=1)
        aims = rng.random(len(reached)) * reached[:, -1]
        spot = (reached < aims[:, None]).sum(axis=1)
        chosen[:, d] = k * size + np.minimum(spot, size - 1)
    rows = steps.rows[:, None]
    return ThinnedParticles(
        skill=b.skill[rows, chosen],
        half_life=b.half_life[rows, chosen],
        rate=b.rate[rows, chosen],
        shape=b.cloud.shape[chosen],
        span=b.cloud.span[chosen],
        gap=np.broadcast_to(b.gap_days[rows], chosen.shape).astype(float),
    )


@dataclass(frozen=True, slots=True)
class Start:
    """Where all futures begin.

    thin : what may be true, a draw a column; need : minutes expected to meet a step (S,)
    played : minutes so far (S,); never : never played (S,); per_day : minutes really played a day
    """

    beliefs: Posterior
    steps: StepArrays
    thin: ThinnedParticles
    need: Array
    played: Array
    never: Flags
    per_day: float


def lived(
    start: Start,
    courses: Sequence[IndexPolicy],
    days: CalendarAssumptions,
    rng: np.random.Generator,
) -> tuple[RolloutResult, ...]:
    """Live every course through the same draws and days."""
    life = _Life(start, courses, days)
    seed = int(rng.integers(2**62))
    last = int(start.steps.left.max())
    looks = np.unique(np.linspace(1, last, LOOKS).round().astype(int))
    for ahead in range(last + 1):
        life.look(ahead, full=bool(ahead in looks))
        life.practise(ahead, np.random.default_rng((seed, ahead)))
    return life.told()


class _Life:
    """Columns are courses times draws, course by course: (S, C D)."""

    def __init__(
        self, start: Start, courses: Sequence[IndexPolicy], days: CalendarAssumptions
    ) -> None:
        self.steps, self.days, self.courses = start.steps, days, len(courses)
        self.minutes = days.minutes  # of the day that is lived
        thin = start.thin
        self.draws = thin.skill.shape[1]
        tile = (1, self.courses)
        self.skill, self.half_life = np.tile(thin.skill, tile), np.tile(thin.half_life, tile)
        self.rate, self.span = np.tile(thin.rate, tile), np.tile(thin.span, tile)
        self.shape = np.tile(thin.shape, tile)
        self.gap = np.tile(thin.gap, tile)
        wanted = np.where(start.never[:, None], priority_index.FRESH_GAP, thin.gap)
        self.turn_gap = np.tile(wanted, tile)
        size = self.skill.shape
        self.met = np.broadcast_to(start.steps.done[:, None], size).copy()
        fits = [
            priority_index.fitting(
                start.steps,
                priority_index.costs(start.steps, start.need, start.played, c.reach),
                start.per_day,
            )
            for c in courses
        ]
        self.fits = np.repeat(np.stack(fits, axis=1), self.draws, axis=1)
        self.met_share = np.repeat([c.met_share for c in courses], self.draws)
        self.reach = np.repeat([c.reach for c in courses], self.draws)
        self.start, self.played = start, np.tile(start.played[:, None], size[1])
        self.weight = priority_index.weights(start.steps)[:, None] * self.fits
        self.final, self.total = np.full(size, np.nan), np.zeros(size)
        self.seen = np.zeros((size[0], 1))
        self.ready = np.full(size, -1.0)
        self.block = self._blocks()
        self.chance = self._chance()

    def _blocks(self) -> tuple[Whole, int]:
        """Topic of each row, and how many there are."""
        rows = priority_index.topic_rows(self.steps)
        topic = np.empty(len(self.steps.ids), dtype=int)
        for n, group in enumerate(rows.values()):
            topic[group] = n
        return topic, len(rows)

    def _chance(self) -> Array:
        kept = memory_law.retention(self.gap, self.half_life, PSI[self.shape])
        return memory_law.clean_chance(self.skill * kept, self.span)

    def look(self, ahead: int, *, full: bool) -> None:
        """Note how things stand on the morning of a day."""
        self.chance = self._chance()
        on_date = self.steps.left == ahead
        self.final[on_date] = self.chance[on_date]
        live = np.greater_equal(self.steps.left, ahead)[:, None]
        self.ready = np.where(
            (self.chance >= READY) & (self.ready < 0) & live, ahead + 1.0, self.ready
        )
        if full:
            self.total += np.where(live, self.chance, 0.0)
            self.seen += live

    def practise(self, ahead: int, rng: np.random.Generator) -> None:
        """Play the slots of a day, on the days that have a session; then a night passes."""
        comes = np.tile(rng.random(self.draws) < self.days.share, self.courses)
        luck = np.tile(rng.random((len(self.gap), self.draws)), (1, self.courses))
        self.minutes = self.days.minutes * self.steps.shares.on(ahead)
        if not self.minutes:
            comes[:] = False
        if self.days.anew and ahead and ahead % self.days.anew == 0:
            self._think_anew(ahead)
        chosen = self._chosen(ahead) & comes[None, :]
        row, column = np.nonzero(chosen)
        if row.size:
            self._work(row, column, self._lengths(chosen, column), luck[row, column])
        self._meet(ahead, luck)
        self.gap += 1.0
        self.turn_gap += 1.0

    def _meet(self, ahead: int, luck: Array) -> None:
        """Play at the day's appointments what only they can serve: a slot each, if it is open."""
        met = [i for i, days in enumerate(self.steps.served) if ahead in days]
        if met:
            chosen = np.zeros_like(self.met)
            chosen[met] = self._open()[met]
            row, column = np.nonzero(chosen)
            self._work(row, column, np.full(row.shape, priority_index.SLOT_MIN), luck[row, column])

    def _think_anew(self, ahead: int) -> None:
        """Take on what fits by now; what was not taken on at first may fit when work went well."""
        cost = priority_index.costs_each(
            self.steps, self.start.need, self.played, self.reach, ahead
        )
        self.fits = priority_index.fitting_each(self.steps, cost, self.start.per_day, ahead)
        self.weight = priority_index.weights(self.steps)[:, None] * self.fits

    def _chosen(self, ahead: int) -> Flags:
        """The steps of highest index, in the topics where these are the highest together."""
        back = self.met_share * 2.0 * (1.1 - self.chance)
        index = self.weight * np.maximum(self.turn_gap, 0.2) * np.where(self.met, back, 1.0)
        home = self.steps.here & np.greater(self.steps.left, ahead)
        index = np.where(self._open() & home[:, None], index, 0.0)
        near = priority_index.close(self.steps, self.steps.left - ahead)
        if near.any():
            index = priority_index.before_date(self.steps, index, near, *self._slot_adds(ahead))
        count = max(int(self.minutes / priority_index.SLOT_MIN), 1)
        topic, topics = self.block
        if topics > self.days.topics:
            sums = np.zeros((topics, index.shape[1]))
            np.add.at(sums, topic, index)
            least = -np.partition(-sums, self.days.topics - 1, axis=0)[self.days.topics - 1]
            index = np.where((sums >= least)[topic], index, 0.0)
        if count < len(index):
            least = -np.partition(-index, count - 1, axis=0)[count - 1]
            return np.asarray((index >= least) & (index > 0.0))
        return np.asarray(index > 0.0)

    def _slot_adds(self, ahead: int) -> tuple[Array, Array]:
        """What a slot today adds to the chance on the date, and that chance without it (S, C D)."""
        left = np.maximum(self.steps.left - ahead, 0)[:, None].astype(float)
        psi, kinds = PSI[self.shape], tuple(KINDS[:, self.shape])
        kept = memory_law.retention(self.gap + left, self.half_life, psi)
        alone = memory_law.clean_chance(self.skill * kept, self.span)
        skill, half_life = memory_law.after_day(
            self.skill, self.half_life, self.gap, priority_index.SLOT_MIN, self.rate, kinds
        )
        kept = memory_law.retention(left, half_life, psi)
        return np.maximum(memory_law.clean_chance(skill * kept, self.span) - alone, 0.0), alone

    def _open(self) -> Flags:
        free: Flags = np.ones_like(self.met)
        for i, needs in enumerate(self.steps.needs):
            for n in needs:
                free[i] &= self.met[n]
        return free

    def _lengths(self, chosen: Flags, column: Whole) -> Array:
        """Minutes of each slot: the session shared by its slots, none too long."""
        each = np.minimum(self.minutes / np.maximum(chosen.sum(axis=0), 1), LONGEST_MIN)
        return np.asarray(each[column])

    def _work(self, row: Whole, column: Whole, minutes: Array, luck: Array) -> None:
        at = row, column
        kinds = tuple(KINDS[:, self.shape[at]])
        skill, half_life = memory_law.after_day(
            self.skill[at], self.half_life[at], self.gap[at], minutes, self.rate[at], kinds
        )
        self.skill[at], self.half_life[at] = skill, half_life
        self.gap[at] = self.turn_gap[at] = 0.0
        self.played[at] += minutes
        clean = memory_law.clean_chance(skill, self.span[at])
        no = (1.0 - TRIES_MISSED) * (1.0 - clean)
        self.met[at] |= luck < 1.0 - no**self.days.tries

    def told(self) -> tuple[RolloutResult, ...]:
        """Split the columns by course."""
        average = self.total / np.maximum(self.seen, 1.0)  # a date on the first day has none
        parts = [np.split(a, self.courses, axis=1) for a in (self.final, average, self.ready)]
        return tuple(RolloutResult(f, a, r) for f, a, r in zip(*parts, strict=True))
