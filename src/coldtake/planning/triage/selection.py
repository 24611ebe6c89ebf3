"""Triage of the pile: what fits before the dates, what of it comes first, and what does not fit.

The best set that can be done in time is chosen exactly (`on_time`); a topic's minutes are those
believed to be left of it, its worth is its importance (`pile_needs`). Of that set so many are
current at once as the player's limit allows: those that must begin now, then those that have begun,
then the others when a place comes free (`places`).

What has begun is not given up lightly: a topic that does not fit as a whole stays where it is as
long as it matters, has come far or nobody needs its place; then it is said what it would take.
What that is is found by choosing again: with more minutes a day, with the topic's importance at its
highest, and with the topic put in by force.
"""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta

import msgspec
import numpy as np

from coldtake.domain.history.state import State
from coldtake.domain.progress import Standing
from coldtake.domain.topic import Place
from coldtake.planning.value.deadline_selection import Candidate, best_set
from coldtake.planning.value.minutes_ahead import minutes_per_day
from coldtake.planning.value.rollout import RolloutResult
from coldtake.planning.value.step_arrays import StepArrays
from coldtake.planning.value.topic_queue import StartEstimate, held_days, queue_of
from coldtake.planning.what_if.comparison import DRAWS, Paired
from coldtake.planning.what_if.pile_needs import (
    Basis,
    RestsOn,
    bases,
    by_worth,
    candidates,
    open_topics,
    weight_of,
)
from coldtake.planning.what_if.what_if_scenario import WhatIf, current
from coldtake.settings import value_of

SOON_DAYS = 14  # a topic that must begin within these is begun now; a guess
MATTERS = 4  # importance from which a topic that has begun is not given up; a guess
MORE_BY_MIN, MORE_MOST_MIN = 5, 60
LIVES = 2  # batches of draws for the turns of those that wait


class TakenTopic(msgspec.Struct, frozen=True, kw_only=True):
    """A topic to have current.

    current : it is already; kept_up : all its steps are met, so that it takes no place
    must_begin : last day on which it can begin and still be done, where that is near
    """

    topic_id: str
    current: bool
    kept_up: bool
    basis: Basis
    must_begin: date | None = None


class LaterTopic(msgspec.Struct, frozen=True, kw_only=True):
    """A topic that fits, and waits for a place. `turn` None: nothing is known of when.

    room_for : ids of the topics that take its place, which must begin now
    """

    topic_id: str
    current: bool
    basis: Basis
    turn: StartEstimate | None
    room_for: tuple[str, ...] = ()


class LeftOutTopic(msgspec.Struct, frozen=True, kw_only=True):
    """A topic that does not fit as a whole, and what it would take.

    current : it holds a place now, and stays : it keeps it; past : its date is past
    alone : it would fit by itself; minutes_there : all that there are until its date
    with_more_min : fewest more minutes a day with which it fits, None when an hour would not do
    with_importance : it would fit at importance 5
    instead_of : ids of the topics that would go if it were put in, none of which matters more
    beside : ids of the topics that have its minutes, those that matter most first
    """

    topic_id: str
    current: bool
    stays: bool
    past: bool
    alone: bool
    basis: Basis
    minutes_there: int
    with_more_min: int | None
    with_importance: bool
    instead_of: tuple[str, ...]
    beside: tuple[str, ...]
    turn: StartEstimate | None

    @property
    def goes(self) -> bool:
        """It holds a place and is proposed to give it up."""
        return self.current and not self.stays


class Triage(msgspec.Struct, frozen=True, kw_only=True):
    """A proposal: topics to have current now, those whose turn comes, those that do not fit.

    per_day_min : minutes played on an average day; places : topics at once, a setting
    """

    per_day_min: float
    places: int
    now: tuple[TakenTopic, ...]
    later: tuple[LaterTopic, ...]
    left_out: tuple[LeftOutTopic, ...]

    @property
    def what_if(self) -> WhatIf:
        """The change from how it stands to this proposal."""
        return WhatIf(
            take_on=tuple(t.topic_id for t in self.now if not t.current),
            leave=(
                *(t.topic_id for t in self.later if t.current),
                *(t.topic_id for t in self.left_out if t.goes),
            ),
        )


def triage(state: State, today: date, *, per_day: float | None = None) -> Triage:
    """Propose what to have current, from the topics that are current or wait.

    per_day : minutes played on an average day, default from the log
    """
    return _Sorting(state, today, per_day).triage()


class _Sorting:
    """One triage being made."""

    def __init__(self, state: State, today: date, per_day: float | None) -> None:
        self.state, self.today = state, today
        self.per_day = (
            minutes_per_day(state, today + timedelta(days=1)) if per_day is None else per_day
        )
        self.places = value_of(state.settings, "current_topics")
        standings = state.standings()
        self.kept_up = {i for i, s in standings.items() if s is Standing.KEPT_UP}
        self.current = {i for i in open_topics(state) if state.topics[i].place is Place.CURRENT}
        self.known = candidates(state, today, self.per_day)
        self.rank = {topic_id: n for n, topic_id in enumerate(self.known)}
        self.basis = bases(state, today, self.known.values())
        self.dated = {i for i in self.known if state.topic_date(i, today) is not None}
        self.past = {i for i in self.dated if self._past(i)} - self.kept_up
        self.fair = [c for i, c in self.known.items() if i not in self.past]
        self.fit = best_set(self.fair, self.per_day)
        self.now, self.stay = self._placed()
        self.steps, self.lives = self._lives()

    def _past(self, topic_id: str) -> bool:
        on = self.state.topic_date(topic_id, self.today)
        return on is not None and on < self.today

    def _placed(self) -> tuple[list[str], set[str]]:
        """Those of the fitting set that are current at once, and those that stay besides.

        Kept-up topics take no place. What must begin now goes before what stays only in part.
        """
        fit = [self.known[i] for i in self.known if i in self.fit]
        kept = [c.topic_id for c in fit if c.topic_id in self.kept_up]
        busy = sorted((c for c in fit if c.topic_id not in self.kept_up), key=self._order)
        first = [c.topic_id for c in busy if self._order(c)[0] < 2]
        stay = self._staying(max(self.places - len(first), 0))
        now = [c.topic_id for c in busy][: max(self.places - len(stay), 0)]
        return [*now, *kept], stay

    def _staying(self, free: int) -> set[str]:
        """Current topics that do not fit as a whole and stay: they matter, or have come far."""
        out = by_worth(
            c for c in self.fair if c.topic_id not in self.fit and c.topic_id in self.current
        )
        worthy = [c.topic_id for c in out if self._holds(c.topic_id)]
        others = [c.topic_id for c in out if not self._holds(c.topic_id)]
        room = max(free, len(worthy))
        return {*worthy, *others[: max(room - len(worthy), 0)]}

    def _holds(self, topic_id: str) -> bool:
        """Say whether a topic that has begun is kept though not all of it fits."""
        matters = self.state.topics[topic_id].importance >= MATTERS
        return matters or self.basis[topic_id].nearly_done

    def _order(self, one: Candidate) -> tuple[int, float, float, int]:
        """Order by class: must begin now, has begun, can begin, has no steps yet; then by date."""
        latest = self._latest(one)
        soon = one.topic_id in self.dated and latest <= SOON_DAYS
        if self.basis[one.topic_id].rests_on is RestsOn.GUESS:
            place = 3
        elif soon and self._pressing(one):
            place = 0
        else:
            place = 1 if one.topic_id in self.current else 2
        return place, latest, -one.worth / one.minutes, self.rank[one.topic_id]

    def _pressing(self, one: Candidate) -> bool:
        """Say whether it matters enough to take a place that another topic holds."""
        own = self.state.topics[one.topic_id].importance
        held = [self.state.topics[i].importance for i in self.current - self.kept_up]
        return one.topic_id in self.current or own >= min(held, default=0)

    def _latest(self, one: Candidate) -> float:
        """Days after which it is too late to begin; without a date there is always time."""
        if one.topic_id not in self.dated:
            return float(one.left)
        return one.shares.latest(one.left, held_days(self.state, one.minutes, self.per_day))

    def triage(self) -> Triage:
        """Put the proposal together."""
        now = {*self.now}
        later = sorted((self.known[i] for i in self.fit - now), key=self._order)
        out = by_worth(c for c in self.fair if c.topic_id not in self.fit)
        past = [self.known[i] for i in self.known if i in self.past]
        turn = self._turns([*later, *(c for c in out if c.topic_id not in self.stay)])
        more = self._with_more() if out else {}
        return Triage(
            per_day_min=self.per_day,
            places=self.places,
            now=tuple(self._taken(i) for i in self.now),
            later=tuple(self._later(c, turn) for c in later),
            left_out=tuple(self._left_out(c, more, turn) for c in (*out, *past)),
        )

    def _lives(self) -> tuple[StepArrays | None, list[RolloutResult]]:
        """Simulate the coming days with the proposed topics."""
        played, then = current(self.state), {*self.now, *self.stay}
        supposed = WhatIf(take_on=tuple(sorted(then - played)), leave=tuple(sorted(played - then)))
        if not then:
            return None, []
        paired = Paired(self.state, self.today, supposed, ())
        return paired.then.steps, [paired.live(DRAWS, n).then for n in range(LIVES)]

    def _turns(self, waiting: list[Candidate]) -> dict[str, StartEstimate]:
        if self.steps is None:
            return {}
        line = queue_of(self.state, self.today, self.steps, self.per_day, waiting)
        return line.turns(self.lives)

    def _with_more(self) -> dict[str, int]:
        """For each topic, the fewest more minutes a day with which it fits."""
        found: dict[str, int] = {}
        for more in range(MORE_BY_MIN, MORE_MOST_MIN + 1, MORE_BY_MIN):
            for topic_id in best_set(self.fair, self.per_day + more):
                found.setdefault(topic_id, more)
        return found

    def _must_begin(self, topic_id: str) -> date | None:
        latest = self._latest(self.known[topic_id])
        if topic_id not in self.dated or latest > SOON_DAYS or topic_id in self.kept_up:
            return None
        return self.today + timedelta(days=1 + max(int(np.floor(latest)), 0))

    def _taken(self, topic_id: str) -> TakenTopic:
        return TakenTopic(
            topic_id=topic_id,
            current=topic_id in self.current,
            kept_up=topic_id in self.kept_up,
            basis=self.basis[topic_id],
            must_begin=None if topic_id in self.current else self._must_begin(topic_id),
        )

    def _later(self, one: Candidate, turn: dict[str, StartEstimate]) -> LaterTopic:
        goes = one.topic_id in self.current
        urgent = tuple(i for i in self.now if i not in self.current) if goes else ()
        return LaterTopic(
            topic_id=one.topic_id,
            current=goes,
            basis=self.basis[one.topic_id],
            turn=turn.get(one.topic_id),
            room_for=urgent,
        )

    def _left_out(
        self, one: Candidate, more: dict[str, int], turn: dict[str, StartEstimate]
    ) -> LeftOutTopic:
        past = one.topic_id in self.past
        return LeftOutTopic(
            topic_id=one.topic_id,
            current=one.topic_id in self.current,
            stays=one.topic_id in self.stay,
            past=past,
            alone=one.fits_alone(self.per_day),
            basis=self.basis[one.topic_id],
            minutes_there=int(one.minutes_there(self.per_day)),
            with_more_min=None if past else more.get(one.topic_id),
            with_importance=not past and self._fits_at_five(one),
            instead_of=() if past else self._instead_of(one),
            beside=() if past else self._beside(one),
            turn=turn.get(one.topic_id),
        )

    def _beside(self, one: Candidate) -> tuple[str, ...]:
        """Topics that fit and are due no later, or have no date, by what they matter."""
        rivals = [self.known[i] for i in self.fit - self.kept_up if self.known[i].left <= one.left]
        return tuple(c.topic_id for c in sorted(rivals, key=lambda c: -c.worth))

    def _fits_at_five(self, one: Candidate) -> bool:
        topic = self.state.topics[one.topic_id]
        dated = one.topic_id in self.dated
        factor = weight_of(5, dated=dated) / weight_of(topic.importance, dated=dated)
        return one.topic_id in self._again(replace(one, worth=one.worth * factor))

    def _instead_of(self, one: Candidate) -> tuple[str, ...]:
        """Topics that would go if it were put in; none where one of them matters more."""
        forced = replace(one, worth=one.worth + sum(c.worth for c in self.fair) + 1.0)
        chosen = self._again(forced)
        gone = sorted(self.fit - chosen) if one.topic_id in chosen else []
        own = self.state.topics[one.topic_id].importance
        return () if any(self.state.topics[i].importance > own for i in gone) else tuple(gone)

    def _again(self, one: Candidate) -> frozenset[str]:
        """Choose again with one topic otherwise."""
        return best_set([*self._others(one), one], self.per_day)

    def _others(self, one: Candidate) -> Iterable[Candidate]:
        return (c for c in self.fair if c.topic_id != one.topic_id)
