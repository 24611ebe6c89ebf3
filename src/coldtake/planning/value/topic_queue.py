"""When a current topic makes room, and which waiting topic starts then.

So many topics are current at once as the player's limit allows. A topic frees its place on the day
when every step of it has been ready once, or when its date has passed; one whose steps are all met
takes none. Whoever waits takes the first free place, in the order of the queue, and holds it for
the days that its minutes take, longer where the player turns out to be slow; one whose date comes
before that lets the next one pass. Done for every possible future by itself, so that a turn has its
uncertainty.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import msgspec
import numpy as np

from coldtake.domain.history.state import State
from coldtake.learning.memory_law import Array
from coldtake.planning.value.deadline_selection import Candidate
from coldtake.planning.value.minutes_ahead import EVEN, DayShares
from coldtake.planning.value.priority_index import topic_rows
from coldtake.planning.value.rollout import RolloutResult
from coldtake.planning.value.step_arrays import DAYS_MOST, ON_DATE, StepArrays
from coldtake.settings import value_of


class StartEstimate(msgspec.Struct, frozen=True, kw_only=True):
    """When a topic's turn comes: in 1, 5 and 9 of 10 simulations; None: not in sight.

    date_first : share of the futures in which its date passes before its turn
    """

    early: date | None
    middle: date | None
    late: date | None
    date_first: float


@dataclass(frozen=True, slots=True)
class TopicQueue:
    """Who holds a place, and who waits for one.

    busy : rows of the steps of each topic that holds a place; left : days to those dates there are
    spare : places free now; waiting : (id, days that it would hold a place, days to its date, inf
        without one), first turn first
    shares : what each day from tomorrow on has of an average day's minutes
    """

    today: date
    busy: Mapping[str, Sequence[int]]
    left: Mapping[str, int]
    spare: int
    waiting: Sequence[tuple[str, float, float]]
    shares: DayShares = EVEN

    def turns(self, lives: Sequence[RolloutResult]) -> dict[str, StartEstimate]:
        """Say when each turn comes, from futures in which the busy topics were played."""
        if not self.waiting:
            return {}
        ready = np.concatenate([life.ready for life in lives], axis=1)
        days = {topic_id: ready[rows] for topic_id, rows in self.busy.items()}
        return turns_of(days, self.left, self.spare, self.waiting, self.today, self.shares)


def held_days(state: State, minutes: float, per_day: float) -> float:
    """Days for which a topic of so many minutes holds one of the places."""
    return minutes * value_of(state.settings, "current_topics") / max(per_day, 1e-9)


def queue_of(
    state: State,
    today: date,
    steps: StepArrays,
    per_day: float,
    waiting: Sequence[Candidate],
    dates: Mapping[str, date | None] | None = None,
    held: int = 0,
) -> TopicQueue:
    """Line up those who wait behind the topics that are played: the steps that have a weight.

    dates : another date for some, by topic id; held : places of topics that have no steps yet
    """
    rows = {
        topic_id: own
        for topic_id, own in topic_rows(steps).items()
        if steps.weight[own[0]] > 0.0 and not steps.done[own].all()
    }
    left = {t: int(steps.left[own[0]]) for t, own in rows.items() if steps.aim[own[0]] == ON_DATE}
    spare = max(value_of(state.settings, "current_topics") - len(rows) - held, 0)
    line = [
        (
            c.topic_id,
            held_days(state, c.minutes, per_day),
            _due(state, c.topic_id, today, dates or {}),
        )
        for c in waiting
    ]
    return TopicQueue(today, rows, left, spare, line if rows or spare else (), steps.shares)


def _due(state: State, topic_id: str, today: date, dates: Mapping[str, date | None]) -> float:
    on = dates.get(topic_id, state.topic_date(topic_id, today))
    return np.inf if on is None or on < today else float((on - today).days)


def turns_of(
    ready: Mapping[str, Array],
    left: Mapping[str, int],
    spare: int,
    waiting: Sequence[tuple[str, float, float]],
    today: date,
    shares: DayShares = EVEN,
) -> dict[str, StartEstimate]:
    """Say when each waiting topic's turn comes; a place is held for days of practice.

    ready : for each current topic the first ready day of its steps (S, D), -1 for never
    left, spare, waiting, shares : as in `TopicQueue`
    """
    busy = [_free_from(days, left.get(topic_id)) for topic_id, days in ready.items()]
    draws = next(iter(ready.values())).shape[1] if ready else 1
    places = np.stack([*busy, *(np.zeros(draws) for _ in range(spare))])
    pace = _pace(busy, draws)
    found: dict[str, StartEstimate] = {}
    for topic_id, long, due in waiting:
        place = places.argmin(axis=0)
        turn = places[place, np.arange(draws)]
        passed = np.isfinite(due) & (turn >= due)
        end = np.minimum(shares.after(turn, long * pace), due)
        places[place, np.arange(draws)] = np.where(passed, turn, end)
        found[topic_id] = _told(np.where(passed, np.inf, turn), float(passed.mean()), today)
    return found


def _free_from(ready: Array, left: int | None) -> Array:
    """Days until the place is free in each draw (D,); inf where that is not in sight.

    `left` counts from tomorrow; the place is free on the day after the date.
    """
    whole = np.where((ready < 0).any(axis=0), np.inf, ready.max(axis=0))
    return whole if left is None else np.minimum(whole, left + 2.0)


def _pace(busy: Sequence[Array], draws: int) -> Array:
    """How slow the player is in each draw (D,), against the average of the draws."""
    if not busy:
        return np.ones(draws)
    days = np.minimum(np.stack(busy), DAYS_MOST).mean(axis=0)
    return np.asarray(days / max(float(days.mean()), 1.0))


def _told(turn: Array, date_first: float, today: date) -> StartEstimate:
    ordered = np.sort(turn)
    spots = [min(int(np.ceil(len(ordered) * s)) - 1, len(ordered) - 1) for s in (0.1, 0.5, 0.9)]
    early, middle, late = (
        today + timedelta(days=int(ordered[p])) if np.isfinite(ordered[p]) else None for p in spots
    )
    return StartEstimate(early=early, middle=middle, late=late, date_first=date_first)
