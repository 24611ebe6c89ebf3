"""Triage of the pile: what fits until the dates, what of it comes first, and what does not fit.

The best set that can be done in time is chosen exactly (`on_time`); a topic's minutes are those
that the planner thinks for it, its worth is its importance for each of its steps. Of that set so
many are current at once as the player's limit allows: those that must begin soonest, the others
when a place comes free (`places`). A topic without a date counts as if due in eight weeks.

What it would take to get in is found by choosing again: with more minutes a day, with the topic's
importance at its highest, and with the topic put in by force.
"""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta

import msgspec
import numpy as np

from coldtake.domain.progress import Standing
from coldtake.domain.state import State
from coldtake.domain.topic import Place
from coldtake.planning import turns
from coldtake.planning.futures import Future
from coldtake.planning.lookahead import minutes_per_day
from coldtake.planning.on_time import Candidate, best_set
from coldtake.planning.pile_needs import by_worth, candidates, open_topics
from coldtake.planning.places import Turn, held_days, queue_of
from coldtake.planning.prospect import Steps
from coldtake.planning.supposed import WhatIf, current, lent
from coldtake.planning.what_if import DRAWS, Paired
from coldtake.settings import value_of

BEGUN = 0.05  # more that a current topic is worth, so that equals do not change places; a guess
KEEP_DAYS = 42  # days that one not begun must be in haste to take a current one's place; a guess
MORE_BY_MIN, MORE_MOST_MIN = 5, 60
LIVES = 2  # batches of draws for the turns of those that wait


class TakenTopic(msgspec.Struct, frozen=True, kw_only=True):
    """A topic to have current.

    current : it is already; kept_up : all its steps are met, so that it takes no place
    minutes : that it still takes; of its `steps`, `clean` are expected to come out on its date
    lent : it has no steps yet and was lent some
    """

    topic_id: str
    current: bool
    kept_up: bool
    minutes: int
    steps: int
    clean: float
    lent: bool


class LaterTopic(msgspec.Struct, frozen=True, kw_only=True):
    """A topic that fits, and waits for a place. `turn` None: nothing is known of when."""

    topic_id: str
    current: bool
    minutes: int
    turn: Turn | None
    lent: bool


class LeftOutTopic(msgspec.Struct, frozen=True, kw_only=True):
    """A topic that does not fit, and what it would take.

    current : it holds a place now; past : its date is past; alone : it would fit by itself
    minutes, minutes_there : what it takes, and all that there is until its date
    with_more_min : fewest more minutes a day with which it fits, None when an hour would not do
    with_importance : it would fit at importance 5
    instead_of : ids of the topics that would go if it were put in
    """

    topic_id: str
    current: bool
    past: bool
    alone: bool
    minutes: int
    minutes_there: int
    with_more_min: int | None
    with_importance: bool
    instead_of: tuple[str, ...]
    turn: Turn | None
    lent: bool

    @property
    def blocks(self) -> bool:
        """It holds a place and cannot come out on its date any more."""
        return self.current and (self.past or not self.alone)


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
                *(t.topic_id for t in self.left_out if t.current),
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
        self.state, self.today, self.tomorrow = state, today, today + timedelta(days=1)
        self.per_day = minutes_per_day(state, self.tomorrow) if per_day is None else per_day
        self.places = value_of(state.settings, "current_topics")
        standings = state.standings()
        self.kept_up = {i for i, s in standings.items() if s is Standing.KEPT_UP}
        self.current = {i for i, t in state.topics.items() if t.place is Place.CURRENT}
        self.lent = lent(state, open_topics(state))
        self.known = {
            i: replace(c, worth=c.worth * (1.0 + BEGUN * (i in self.current)))
            for i, c in candidates(state, today, self.per_day).items()
        }
        self.past = {i for i in self.known if self._days_to(i) < 0} - self.kept_up
        self.fair = [c for i, c in self.known.items() if i not in self.past]
        self.fit = best_set(self.fair, self.per_day)
        self.now = self._first()
        self.steps, self.lives = self._lives()

    def _days_to(self, topic_id: str) -> float:
        """Days to its date; infinite without one."""
        on = self.state.topic_date(topic_id, self.today)
        return np.inf if on is None else (on - self.today).days

    def _first(self) -> list[str]:
        """Those of the fitting set that are current at once: kept up, then begun soonest."""
        fit = [self.known[i] for i in self.known if i in self.fit]
        kept = [c.topic_id for c in fit if c.topic_id in self.kept_up]
        busy = sorted((c for c in fit if c.topic_id not in self.kept_up), key=self._urgency)
        return [*(c.topic_id for c in busy[: self.places]), *kept]

    def _urgency(self, one: Candidate) -> tuple[float, float, str]:
        """Order by the last day on which it must begin, then by worth; what has begun goes before.

        Without a date nothing presses: it comes in the order of worth.
        """
        dated = np.isfinite(self._days_to(one.topic_id))
        held = held_days(self.state, one.minutes, self.per_day) if dated else 0.0
        latest = one.left - held - KEEP_DAYS * (one.topic_id in self.current)
        return latest, -one.worth / one.minutes, one.topic_id

    def triage(self) -> Triage:
        """Put the proposal together."""
        later = sorted((self.known[i] for i in self.fit - {*self.now}), key=self._urgency)
        out = by_worth([c for c in self.fair if c.topic_id not in self.fit])
        past = [self.known[i] for i in self.known if i in self.past]
        turn = self._turns([*later, *out])
        more = self._with_more() if out else {}
        return Triage(
            per_day_min=self.per_day,
            places=self.places,
            now=tuple(self._taken(i) for i in self.now),
            later=tuple(self._later(c, turn) for c in later),
            left_out=tuple(self._left_out(c, more, turn) for c in (*out, *past)),
        )

    def _lives(self) -> tuple[Steps | None, list[Future]]:
        """Live the coming days with the proposed topics."""
        played = current(self.state)
        supposed = WhatIf(
            take_on=tuple(sorted({*self.now} - played)), leave=tuple(sorted(played - {*self.now}))
        )
        if not self.now:
            return None, []
        paired = Paired(self.state, self.today, supposed)
        return paired.then.steps, [paired.live(DRAWS, n).then for n in range(LIVES)]

    def _turns(self, waiting: list[Candidate]) -> dict[str, Turn]:
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

    def _taken(self, topic_id: str) -> TakenTopic:
        rows = [] if self.steps is None else turns.topic_rows(self.steps)[topic_id]
        final = np.concatenate([life.final[rows] for life in self.lives], axis=1)
        return TakenTopic(
            topic_id=topic_id,
            current=topic_id in self.current,
            kept_up=topic_id in self.kept_up,
            minutes=round(self.known[topic_id].minutes),
            steps=len(rows),
            clean=float(final.sum(axis=0).mean()),
            lent=topic_id in self.lent,
        )

    def _later(self, one: Candidate, turn: dict[str, Turn]) -> LaterTopic:
        return LaterTopic(
            topic_id=one.topic_id,
            current=one.topic_id in self.current,
            minutes=round(one.minutes),
            turn=turn.get(one.topic_id),
            lent=one.topic_id in self.lent,
        )

    def _left_out(
        self, one: Candidate, more: dict[str, int], turn: dict[str, Turn]
    ) -> LeftOutTopic:
        past = one.topic_id in self.past
        return LeftOutTopic(
            topic_id=one.topic_id,
            current=one.topic_id in self.current,
            past=past,
            alone=one.fits_alone(self.per_day),
            minutes=round(one.minutes),
            minutes_there=int(self.per_day * one.left),
            with_more_min=more.get(one.topic_id),
            with_importance=not past and self._fits_at_five(one),
            instead_of=() if past else self._instead_of(one),
            turn=turn.get(one.topic_id),
            lent=one.topic_id in self.lent,
        )

    def _fits_at_five(self, one: Candidate) -> bool:
        risen = one.worth * 5 / self.state.topics[one.topic_id].importance
        return one.topic_id in self._again(replace(one, worth=risen))

    def _instead_of(self, one: Candidate) -> tuple[str, ...]:
        forced = replace(one, worth=one.worth + sum(c.worth for c in self.fair) + 1.0)
        chosen = self._again(forced)
        return tuple(sorted(self.fit - chosen)) if one.topic_id in chosen else ()

    def _again(self, one: Candidate) -> frozenset[str]:
        """Choose again with one topic otherwise."""
        return best_set([*self._others(one), one], self.per_day)

    def _others(self, one: Candidate) -> Iterable[Candidate]:
        return (c for c in self.fair if c.topic_id != one.topic_id)
