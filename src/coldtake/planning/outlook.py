"""What will be ready when: the coming days played through many times, the planner in the loop.

Each draw takes one possible player and one possible truth for every step from the posterior, then
lives day after day by tonight's best course, whose index is the planner's own (`turns`); days are
missed as often as they have been, and every few days it is thought over what fits until its date.
Not the planner itself: slots have the length that an evening leaves to each. On the date the form
of the day and what may be wrong about a topic come on top (`on_the_day`).

Draws come from a seed made of the log's own content: equal logs give equal outlooks.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from coldtake.domain.estimate import DateOutlook, Interval, StepOutlook, TopicOutlook
from coldtake.domain.state import State
from coldtake.learning.beliefs import Beliefs, enough_rows
from coldtake.learning.law import Array
from coldtake.planning.futures import Days, Future, lived
from coldtake.planning.lookahead import (
    DRAWS as TRIED,
)
from coldtake.planning.lookahead import (
    begun,
    best_course,
    days_ahead,
    minutes_per_day,
    seeded,
)
from coldtake.planning.on_the_day import came_out, chance_interval, day_chances, number_interval
from coldtake.planning.prospect import ON_DATE, Steps, Whole
from coldtake.planning.turns import topic_rows
from coldtake.ports import Progress

BATCHES = 4
DRAWS = 32  # in a batch
ANEW_DAYS = 3  # after which it is thought over what fits
TRIES_MOST = 4.0  # a day, of one step


def outlook(
    state: State,
    today: date,
    *,
    minutes_per_day: float | None = None,
    progress: Progress | None = None,
) -> tuple[TopicOutlook, ...]:
    """Look ahead for every plannable topic, in the state's order.

    A topic without a date (or whose date is past) is looked at on the day OPEN_DAYS ahead.
    minutes_per_day : what is really played on the average day; default from the log
    progress : asked after every batch; when it says stop, the batches so far are the answer
    """
    found: tuple[TopicOutlook, ...] = ()
    batches = refined(state, today, minutes_per_day=minutes_per_day)
    for done, latest in enumerate(batches, start=1):
        found = latest
        words = f"{done * DRAWS} of {BATCHES * DRAWS} possible futures"
        if progress and not progress.step(done, BATCHES, words):
            break
    return found


def refined(
    state: State, today: date, *, minutes_per_day: float | None = None
) -> Iterator[tuple[TopicOutlook, ...]]:
    """Give the outlook after each batch of draws, every time from all draws so far."""
    for ahead in _batches(state, today, minutes_per_day):
        yield ahead.topics() if ahead else ()


def by_date(
    state: State, today: date, *, minutes_per_day: float | None = None
) -> tuple[DateOutlook, ...]:
    """Look ahead to each date that plannable topics have, at all its steps together, soonest first.

    A programme by the house's rules of the stage is `readiness`; here every step of the topics
    counts, in the practice room.
    """
    last = [*_batches(state, today, minutes_per_day)][-1]
    return last.dates() if last else ()


def _batches(state: State, today: date, minutes_per_day: float | None) -> "Iterator[_Ahead | None]":
    tomorrow = today + timedelta(days=1)
    per_day = _per_day(state, tomorrow, minutes_per_day)
    rng = seeded(state, tomorrow, f"{per_day:.3f}")
    start = begun(state, tomorrow, per_day, TRIED, rng)
    if not start.steps.ids:
        yield None
        return
    days = days_ahead(state, tomorrow, per_day)
    course = best_course(start, days, rng)
    truer = _as_played(days, start.beliefs)
    done: list[Future] = []
    for _ in range(BATCHES):
        again = begun(state, tomorrow, per_day, DRAWS, rng)
        done += lived(again, [course], truer, rng)
        yield _Ahead(state, today, start.steps, start.beliefs, done)


def _per_day(state: State, tomorrow: date, given: float | None) -> float:
    return minutes_per_day(state, tomorrow) if given is None else given


def _as_played(days: Days, b: Beliefs) -> Days:
    """With as many tries on a day as the player makes, and thinking anew what fits."""
    tries = (sum(f.answers for f in b.filters) + 1.0) / (sum(f.days for f in b.filters) + 1.0)
    return replace(days, tries=min(max(tries, 1.0), TRIES_MOST), anew=ANEW_DAYS)


class _Ahead:
    """All futures so far, and what comes out in each on its date."""

    def __init__(
        self, state: State, today: date, steps: Steps, b: Beliefs, done: Sequence[Future]
    ) -> None:
        self.state, self.today, self.steps = state, today, steps
        self.known = np.array(enough_rows(b))[steps.rows]
        self.rows = topic_rows(steps)
        order = {topic_id: n for n, topic_id in enumerate(self.rows)}
        rng = np.random.default_rng(len(steps.ids))
        final = np.concatenate([d.final for d in done], axis=1)
        member = np.array([order[t] for t in steps.topics], dtype=int)
        self.chance = day_chances(final, member, rng)
        self.clean = came_out(self.chance, rng)
        self.ready = np.concatenate([d.ready for d in done], axis=1)

    def topics(self) -> tuple[TopicOutlook, ...]:
        """Tell each topic by itself."""
        return tuple(self._topic(topic_id, rows) for topic_id, rows in self.rows.items())

    def dates(self) -> tuple[DateOutlook, ...]:
        """Tell each date by all steps of its topics."""
        dated = np.flatnonzero(np.equal(self.steps.aim, ON_DATE))
        found = []
        for left in sorted({int(self.steps.left[n]) for n in dated}):
            rows = [int(n) for n in dated if self.steps.left[n] == left]
            found.append(
                DateOutlook(
                    on=self._on(rows),
                    topic_ids=tuple(dict.fromkeys(self.steps.topics[n] for n in rows)),
                    steps=len(rows),
                    clean_steps=self._number(rows),
                    ready_chance=self._all_clean(rows),
                    enough=bool(self.known[rows].any()),
                )
            )
        return tuple(found)

    def _topic(self, topic_id: str, rows: list[int]) -> TopicOutlook:
        return TopicOutlook(
            topic_id=topic_id,
            on=self._on(rows),
            steps=tuple(
                StepOutlook(
                    step_id=self.steps.ids[n],
                    chance=chance_interval(self.chance[n]),
                    enough=bool(self.known[n]),
                )
                for n in rows
            ),
            clean_steps=self._number(rows),
            ready_chance=self._all_clean(rows),
            ready_by=_ready_by(self.today, self.ready[rows]),
            enough=bool(self.known[rows].any()),
        )

    def _on(self, rows: list[int]) -> date:
        return self.today + timedelta(days=1 + int(self.steps.left[rows[0]]))

    def _number(self, rows: list[int]) -> Interval:
        numbers: Whole = self.clean[rows].sum(axis=0)
        return number_interval(numbers, len(rows))

    def _all_clean(self, rows: list[int]) -> float:
        return float(self.chance[rows].prod(axis=0).mean())


def _ready_by(today: date, ready: Array) -> tuple[date | None, date | None, date | None]:
    """Days by which every step has been ready once, in 1, 5 and 9 of 10 draws; None: not so."""
    whole = np.where((ready < 0).any(axis=0), np.inf, ready.max(axis=0))
    ordered = np.sort(whole)
    places = [min(int(np.ceil(len(ordered) * s)) - 1, len(ordered) - 1) for s in (0.1, 0.5, 0.9)]
    early, middle, late = (
        today + timedelta(days=int(ordered[p])) if np.isfinite(ordered[p]) else None for p in places
    )
    return early, middle, late
