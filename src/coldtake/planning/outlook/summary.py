"""What will be ready when: each topic on its date, and all that is due on one date.

Read from the simulated days to come (`forecast`). On the date the form of the day and what may be
wrong about a topic come on top (`on_the_day`).
"""

from collections.abc import Iterator
from datetime import date, timedelta

import numpy as np

from coldtake.domain.estimate import DateOutlook, Interval, StepOutlook, TopicOutlook
from coldtake.domain.history.state import State
from coldtake.learning.memory_law import Array
from coldtake.planning.programme.readiness import pieces_on_stage
from coldtake.planning.value.day_outcomes import chance_interval, number_interval, number_shares
from coldtake.planning.value.forecast import BATCHES, DRAWS, Forecast, forecasts
from coldtake.planning.value.step_arrays import ON_DATE
from coldtake.ports import Progress


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
        words = f"{done * DRAWS} of {BATCHES * DRAWS} simulations"
        if progress and not progress.step(done, BATCHES, words):
            break
    return found


def refined(
    state: State, today: date, *, minutes_per_day: float | None = None
) -> Iterator[tuple[TopicOutlook, ...]]:
    """Give the outlook after each batch of draws, every time from all draws so far."""
    for ahead in forecasts(state, today, minutes_per_day=minutes_per_day):
        yield _Told(state, ahead).topics() if ahead else ()


def by_date(
    state: State, today: date, *, minutes_per_day: float | None = None
) -> tuple[DateOutlook, ...]:
    """Look ahead to each date that plannable topics have, at all its steps together, soonest first.

    A programme by the house's rules of the stage is `readiness`; here every step of the topics
    counts, in the practice room.
    """
    last = [*forecasts(state, today, minutes_per_day=minutes_per_day)][-1]
    return _Told(state, last).dates() if last else ()


class _Told:
    """What comes out in each future on its date."""

    def __init__(self, state: State, ahead: Forecast) -> None:
        self.state, self.ahead, self.steps = state, ahead, ahead.steps
        self.chance = ahead.chances()
        self.stage = pieces_on_stage(state, ahead)

    def topics(self) -> tuple[TopicOutlook, ...]:
        """Tell each topic by itself."""
        return tuple(self._topic(topic_id, rows) for topic_id, rows in self.ahead.rows.items())

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
                    enough=bool(self.ahead.enough[rows].any()),
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
                    enough=bool(self.ahead.enough[n]),
                )
                for n in rows
            ),
            clean_steps=self._number(rows),
            expected_steps=float(self.chance[rows].sum(axis=0).mean()),
            ready_chance=self._all_clean(rows),
            on_stage=self.stage.get(topic_id),
            ready_by=_ready_by(self.ahead.today, self.ahead.ready[rows]),
            enough=bool(self.ahead.enough[rows].any()),
        )

    def _on(self, rows: list[int]) -> date:
        return self.ahead.today + timedelta(days=1 + int(self.steps.left[rows[0]]))

    def _number(self, rows: list[int]) -> Interval:
        return number_interval(number_shares(self.chance[rows]))

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
