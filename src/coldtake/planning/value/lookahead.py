"""Value of tomorrow's minutes on each step, from a simulation of the days to the dates.

Looked ahead are the minutes until each date (which topics fit, `turns.fitting`), how soon each step
would have faded by its next turn, and in the last days what a slot adds on the date itself. An
evening's points are what its slots by themselves add to the chances on the dates, shared between
them by the index of `turns`.
"""

import hashlib
from collections.abc import Iterable
from datetime import date

import numpy as np

from coldtake.domain.history.state import State
from coldtake.domain.requirement import Requirement
from coldtake.learning.filter import try_chance, yes_chance
from coldtake.learning.memory import minutes_to_met
from coldtake.learning.memory_law import Array
from coldtake.learning.posterior import beliefs, enough_rows
from coldtake.planning.value import priority_index, value_of_information, visits
from coldtake.planning.value.minutes_ahead import minutes_per_day, share_of_days
from coldtake.planning.value.priority_index import USUAL, IndexPolicy
from coldtake.planning.value.rollout import CalendarAssumptions, Start, drawn
from coldtake.planning.value.step_arrays import (
    Flags,
    ThinnedParticles,
    Whole,
    believed,
    chances,
    moved,
    plannable,
    steps_ahead,
    thinned,
)
from coldtake.planning.value.values import StepValue
from coldtake.settings import value_of

DRAWS = 12  # possible truths with which a look into the days ahead begins
CHECK_SHARE = 0.05  # of an average day's minutes that separate cold takes may claim; a guess
CHECK_WORTH = 1.2  # worth of such a cold take, against as many minutes of work; a guess
SPARE_WORTH = 0.4  # the same for the others: for minutes too few for work, and before a performance
REST_DAYS = 2.0  # days without playing before a cold take says anything about keeping; a guess
IDLE = 1e-6  # chance that a slot adds at the least, so that no minutes lie idle
NEED_LEAST = 10.0  # minutes that keeping a met step asks for at the least; a guess
LEAST_ADDED = 0.002  # chance that a slot is said to add at the least, so that turns can be told
KNOTS_MIN = (2.0, 4.0, 6.0, 8.0, 11.0, 15.0)  # minutes for which `visits` are lived through
NOTHING_MIN = 0.01  # need of a step that cannot be played at home: none, but to share by
SHOWN_MIN = 8  # minutes for which the chance on the date is shown


def days_ahead(state: State, day: date, per_day: float) -> CalendarAssumptions:
    """Say how the days to come go. Share of days played: the last four weeks, and a first guess."""
    share = share_of_days(state, day)
    return CalendarAssumptions(per_day / share, share, value_of(state.settings, "topics_most"))


def seeded(state: State, day: date, *words: str) -> np.random.Generator:
    """Random numbers that follow from the log's own content and the day."""
    said = (day.isoformat(), *state.steps, str(state.try_count), *words)
    digest = hashlib.sha256("\x1f".join(said).encode()).digest()
    return np.random.default_rng(int.from_bytes(digest[:8], "big"))


def begun(
    state: State,
    day: date,
    per_day: float,
    draws: int,
    rng: np.random.Generator,
    at_hand: Iterable[Requirement] | None = None,
) -> Start:
    """Draw what may be true of every plannable step on the evening before `day`.

    at_hand : what there is, None: what the player usually has. What cannot be played with it takes
        no minutes
    """
    topics = set(plannable(state))
    b = beliefs(state, day, {i for i, s in state.steps.items() if s.topic_id in topics})
    steps = steps_ahead(state, day, b, at_hand)
    played = np.array([state.minutes_of.get(i, 0.0) for i in steps.ids])
    never = np.array([b.filters[r].day is None for r in steps.rows], dtype=bool)
    if not steps.ids:
        empty = np.zeros((0, draws))
        thin = ThinnedParticles(empty, empty, empty, empty.astype(int), empty, empty)
        return Start(b, steps, thin, played, played, never, per_day)
    thin = drawn(b, steps, draws, rng)
    need = np.array([state.steps[i].need_min for i in steps.ids], dtype=float)
    need = np.where(steps.here, need, NOTHING_MIN)
    return Start(b, steps, thin, need, played, never, per_day)


def day_values(
    state: State,
    day: date,
    *,
    slot_most: int = 12,
    at_hand: Iterable[Requirement] | None = None,
) -> tuple[StepValue, ...]:
    """Value every plannable step's minutes on `day`, from the log up to the evening before.

    Plannable are the steps of current topics; while none is current, those of waiting topics.
    Work values are in points: 0.01 of the chance of coming out clean, times importance / 3.
    at_hand : what there is on the day, None: what the player usually has
    """
    per_day = minutes_per_day(state, day)
    start = begun(state, day, per_day, 0, seeded(state, day), at_hand)
    if not start.steps.ids:
        return ()
    days = days_ahead(state, day, per_day)
    return _Table(state, day, slot_most, start, USUAL, days).values()


class _Table:
    """Turns the start and the best course into the records that the choice of a day reads."""

    def __init__(
        self,
        state: State,
        day: date,
        slot_most: int,
        start: Start,
        course: IndexPolicy,
        days: CalendarAssumptions,
    ) -> None:
        self.state, self.day, self.slot_most = state, day, slot_most
        self.start, self.steps, self.beliefs = start, start.steps, start.beliefs
        self.course, self.days = course, days
        self.thin = thinned(self.beliefs, self.steps.rows)
        self.left = self.steps.left[:, None].astype(float)
        self.now = self._now()
        self.curve = self._chance_after()
        self.alone = self.curve[:, 0]
        self.helped = self.curve[:, min(SHOWN_MIN, slot_most)]
        cost = priority_index.costs(self.steps, start.need, start.played, course.reach)
        self.fits = priority_index.fitting(self.steps, cost, start.per_day)
        self.answers = self._answers()
        self.ahead = visits.Ahead.of(self.steps, self.thin, start.never)
        self.shares = visits.shared_out(
            self.ahead,
            visits.offers(self.ahead),
            priority_index.topic_rows(self.steps),
            start.per_day,
        )

    def values(self) -> tuple[StepValue, ...]:
        """Make all records."""
        index = self._index()
        work = self._work_values(index)
        cold = self._cold_values(index, work)
        need = self._needs()
        enough = np.array(enough_rows(self.beliefs))[self.steps.rows]
        return tuple(
            StepValue(
                step_id=step_id,
                topic_id=self.steps.topics[i],
                work_value=tuple(float(v) for v in work[i]),
                cold_value=float(cold[i]),
                available=bool(self.steps.available[i]),
                chance_without=float(self.alone[i]),
                chance_with=float(self.helped[i]),
                need_left_min=float(need[i]),
                chances=tuple(float(c) for c in self.curve[i]),
                fits=bool(self.fits[i] >= 1.0),
                enough=bool(enough[i]),
            )
            for i, step_id in enumerate(self.steps.ids)
        )

    def _now(self) -> Array:
        return believed(self.beliefs, self.steps.rows)

    def _index(self) -> Array:
        """Points of the first slot on each step (S,)."""
        steps, start = self.steps, self.start
        gap = np.where(start.never, priority_index.FRESH_GAP, self.beliefs.gap_days[steps.rows])
        met_share = self.course.met_share
        index = priority_index.turn(
            steps, gap[:, None], steps.done[:, None], self.now[:, None], met_share
        )[:, 0]
        index *= self.fits * steps.available * steps.here
        near = priority_index.close(steps, steps.left)
        index = priority_index.before_date(
            steps, index[:, None], near, self._slot_adds()[:, None], self.alone[:, None]
        )[:, 0]
        first = self._first(index)
        return np.asarray(index * self._evening(first) / max(index[first].sum(), 1e-9))

    def _slot_adds(self) -> Array:
        """What a slot tomorrow adds to the chance on the date, nothing more being played (S,)."""
        return self.curve[:, min(int(visits.VISIT_MIN), self.slot_most)] - self.alone

    def _first(self, index: Array) -> Whole:
        """Rows of about so many slots as an evening has, those wanted most."""
        count = max(int(self.days.minutes / visits.VISIT_MIN), 1)
        return np.argsort(-index, kind="stable")[:count]

    def _evening(self, first: Whole) -> float:
        """Points that these slots add to the dates by themselves, at the least LEAST_ADDED each."""
        steps = self.steps
        added = steps.weight * np.maximum(self.helped - self.alone, LEAST_ADDED)
        return float(100.0 * added[first].sum())

    def _work_values(self, index: Array) -> Array:
        """Points for 0 … slot_most minutes (S, slot_most + 1), never falling.

        The middle (geometric) of two judges whose errors differ: whose turn it is, by the player's
        own guess of need, and what a visit is worth, by all that is believed. On players of many
        laws (bench/learning) it was better than either.
        """
        whole = np.arange(self.slot_most + 1, dtype=float)
        by_turn = index[:, None] * priority_index.spent(
            whole[None, :], self.steps.done[:, None], visits.VISIT_MIN
        )
        worth = np.sqrt(by_turn * np.maximum(self._by_visit(whole), 0.0))
        worth = np.maximum.accumulate(worth, axis=1)
        slot = worth[:, min(int(visits.VISIT_MIN), self.slot_most)]
        first = self._first(slot)
        return np.asarray(worth * self._evening(first) / max(slot[first].sum(), 1e-9))

    def _by_visit(self, whole: Array) -> Array:
        """Points of a visit of so many minutes tonight (S, slot_most + 1)."""
        knots = [0.0, *(m for m in KNOTS_MIN if m < self.slot_most), float(self.slot_most)]
        worth = visits.gains(self.ahead, self.shares, knots[1:])
        points = np.array([np.interp(whole, knots, [0.0, *row]) for row in worth])
        gap = self.beliefs.gap_days[self.steps.rows]
        opener = visits.openers(self.steps, self.shares, gap, self.start.never)
        points = np.maximum(points, opener[:, None] * np.minimum(whole, visits.VISIT_MIN))
        share = np.minimum(whole / visits.VISIT_MIN, 1.0)
        least = (self.steps.weight * (1.0 - self.alone))[:, None] * share
        return np.asarray(100.0 * np.maximum(points, IDLE * least))

    def _cold_values(self, index: Array, work: Array) -> Array:
        """Points for a cold take by itself: only those that tell most, as many as have room.

        What is told is the standard deviation of the chance on the date that the answer explains
        (`telling`). Work begins with a first try, which tells as much and is told apart in the log,
        so a cold take by itself is for what would not be worked on, and takes few minutes from it.
        """
        first = self._first(index)
        told = np.where(self._likely(index, first) & (index > 0.0), self._told(), 0.0)
        cold_min = value_of(self.state.settings, "cold_minutes")
        room = int(CHECK_SHARE * self.days.minutes / cold_min)
        slot = min(int(visits.VISIT_MIN), self.slot_most)
        minute = work[first, slot].min(initial=np.inf) / slot
        chosen = np.zeros_like(told)
        chosen[np.argsort(-told * self.steps.weight, kind="stable")[:room]] = 1.0
        worth = np.where(chosen > 0.0, CHECK_WORTH, SPARE_WORTH) * minute * cold_min
        return np.where(self.steps.done & (told > 0.0), worth, 0.0)

    def _likely(self, index: Array, first: Whole) -> Flags:
        """Steps of the topics that will probably be in the session: as many as it may have."""
        worth: dict[str, float] = dict.fromkeys(self.steps.topics, 0.0)
        for row in first:
            worth[self.steps.topics[row]] += float(index[row])
        likely = sorted(worth, key=lambda t: -worth[t])[: self.days.topics]
        return np.array([t in likely for t in self.steps.topics], dtype=bool)

    def _answers(self) -> value_of_information.OutcomePosteriors:
        """What a cold take now would tell of the chance on the date, each (S,)."""
        on_date = chances(self.thin, self.left)
        clean = try_chance(self._reached(), self.thin.span, warm=False)
        return value_of_information.posteriors_by_answer(on_date, yes_chance(clean, heard=False))

    def _told(self) -> Array:
        told = value_of_information.spread(self.answers, self.alone)
        rested = self.beliefs.gap_days[self.steps.rows] >= REST_DAYS
        return np.where(rested & self.steps.available & self.steps.done, told, 0.0)

    def _reached(self) -> Array:
        return moved(self.thin, 0.0, 0.0)[0]

    def _needs(self) -> Array:
        """Minutes still expected: to meet the step, and on the course to its date."""
        b, steps = self.beliefs, self.steps
        to_met = (minutes_to_met(self.state, b) * b.weight).sum(axis=1)[steps.rows]
        cost = priority_index.costs(steps, self.start.need, self.start.played, self.course.reach)
        course = priority_index.share_of_cost(steps, self.start.need, cost)
        done = np.maximum(priority_index.KEEPING * self.start.need, NEED_LEAST)
        return np.where(steps.done, done, np.maximum(to_met, course))

    def _chance_after(self) -> Array:
        """Chance on the date after 0 … slot_most minutes tomorrow, and nothing more."""
        rested = np.zeros_like(self.thin.gap)
        thin, found = self.thin, [chances(self.thin, self.left).mean(axis=1)]
        for minutes in range(1, self.slot_most + 1):
            skill, half_life = moved(thin, 0.0, float(minutes))
            after = ThinnedParticles(skill, half_life, thin.rate, thin.shape, thin.span, rested)
            found.append(chances(after, self.left).mean(axis=1))
        return np.maximum.accumulate(np.stack(found, axis=1), axis=1)
