"""What will be ready when: the coming days played through many times, the planner in the loop.

Each draw takes one possible player and one possible truth for every step from the posterior, then
lives day after day by tonight's best course, whose index is the planner's own (`turns`); days are
missed as often as they have been. Not the planner itself: slots have the length that an evening
leaves to each, and which topics are taken on is decided tonight for all days.

Draws come from a seed made of the log's own content: equal logs give equal outlooks.
"""

from collections.abc import Iterator
from datetime import date, timedelta

import numpy as np

from coldtake.domain.estimate import Interval, StepOutlook, TopicOutlook
from coldtake.domain.state import State
from coldtake.learning.beliefs import Beliefs, enough_rows
from coldtake.learning.law import Array
from coldtake.planning.futures import Future, lived
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
from coldtake.planning.prospect import Flags, Steps
from coldtake.ports import Progress

BATCHES = 4
DRAWS = 32  # in a batch


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
    tomorrow = today + timedelta(days=1)
    per_day = _per_day(state, tomorrow, minutes_per_day)
    rng = seeded(state, tomorrow, f"{per_day:.3f}")
    start = begun(state, tomorrow, per_day, TRIED, rng)
    if not start.steps.ids:
        yield ()
        return
    days = days_ahead(state, tomorrow, per_day)
    course, _tried = best_course(start, days, rng)
    done: list[Future] = []
    for _ in range(BATCHES):
        again = begun(state, tomorrow, per_day, DRAWS, rng)
        done += lived(again, [course], days, rng)
        yield _told(state, today, start.steps, start.beliefs, done)


def _per_day(state: State, tomorrow: date, given: float | None) -> float:
    return minutes_per_day(state, tomorrow) if given is None else given


def _told(
    state: State, today: date, steps: Steps, b: Beliefs, done: list[Future]
) -> tuple[TopicOutlook, ...]:
    final = np.concatenate([d.final for d in done], axis=1)
    ready = np.concatenate([d.ready for d in done], axis=1)
    known = np.array(enough_rows(b))[steps.rows]
    rng = np.random.default_rng(len(steps.ids))
    clean = rng.random(final.shape) < final
    topics: dict[str, list[int]] = {}
    for n, step_id in enumerate(steps.ids):
        topics.setdefault(state.steps[step_id].topic_id, []).append(n)
    return tuple(
        _topic(today, t, rows, steps, known, final, clean, ready) for t, rows in topics.items()
    )


def _topic(
    today: date,
    topic_id: str,
    rows: list[int],
    steps: Steps,
    known: Flags,
    final: Array,
    clean: Flags,
    ready: Array,
) -> TopicOutlook:
    left = int(steps.left[rows[0]])
    return TopicOutlook(
        topic_id=topic_id,
        on=today + timedelta(days=1 + left),
        steps=tuple(
            StepOutlook(
                step_id=steps.ids[n], chance=_interval(final[n], mean=True), enough=bool(known[n])
            )
            for n in rows
        ),
        clean_steps=_interval(clean[rows].sum(axis=0)),
        ready_chance=float(final[rows].prod(axis=0).mean()),
        ready_by=_ready_by(today, ready[rows]),
        enough=bool(known[rows].any()),
    )


def _interval(values: Array, *, mean: bool = False) -> Interval:
    low, mid, high = np.quantile(values.astype(float), (0.1, 0.5, 0.9))
    if mean:
        mid = min(max(float(values.mean()), low), high)
    return Interval(low=float(low), mid=float(mid), high=float(high))


def _ready_by(today: date, ready: Array) -> tuple[date | None, date | None, date | None]:
    """Days by which every step has been ready once, in 1, 5 and 9 of 10 draws; None: not so."""
    whole = np.where((ready < 0).any(axis=0), np.inf, ready.max(axis=0))
    ordered = np.sort(whole)
    places = [min(int(np.ceil(len(ordered) * s)) - 1, len(ordered) - 1) for s in (0.1, 0.5, 0.9)]
    early, middle, late = (
        today + timedelta(days=int(ordered[p])) if np.isfinite(ordered[p]) else None for p in places
    )
    return early, middle, late
