"""What every topic that is current or waits would still take before its date, and what that says.

A topic's worth is its importance, whole steps of it apart: one that matters more is not given up
for two that matter less. It counts for more the further the topic has come, and for less without a
date: what has none can wait.
"""

from collections.abc import Collection, Iterable
from datetime import date, timedelta
from enum import StrEnum

import msgspec
import numpy as np

from coldtake.domain.history.state import State
from coldtake.domain.topic import Place, StepPhase
from coldtake.learning.posterior import enough_rows
from coldtake.planning.value import priority_index
from coldtake.planning.value.deadline_selection import Candidate
from coldtake.planning.value.lookahead import begun, seeded
from coldtake.planning.value.needs import as_believed
from coldtake.planning.value.rollout import Start
from coldtake.planning.what_if.what_if_scenario import Lent, WhatIf, lent_to, supposed_state

STEEPER = 3.0  # worth of an importance against the one below; a guess: three of it weigh the same
UNDATED = 1.0 / STEEPER  # without a date a topic counts as one importance less; a guess
BEGUN = 0.1  # more that a current topic is worth, so that equals do not change places; a guess
OPEN_LEFT = 182  # days in which a topic without a date is taken to be done; a guess
_MET = frozenset({StepPhase.MET, StepPhase.HELD})


class RestsOn(StrEnum):
    """What the minutes of a topic rest on: its takes, what was entered, or nothing but a guess."""

    TAKES = "takes"
    ENTERED = "entered"
    GUESS = "guess"


class Basis(msgspec.Struct, frozen=True, kw_only=True):
    """What a proposal for a topic rests on.

    steps, met : of its own; minutes : of work left; lent : the steps that it was lent for a guess
    """

    steps: int
    met: int
    minutes: int
    rests_on: RestsOn
    lent: Lent | None = None

    @property
    def nearly_done(self) -> bool:
        """Most of its steps are met."""
        return self.steps > 0 and self.met >= 2.0 / 3.0 * self.steps


def open_topics(state: State) -> frozenset[str]:
    """Ids of the topics that were not laid aside."""
    return frozenset(i for i, t in state.topics.items() if t.place is not Place.LAID_ASIDE)


def candidates(
    state: State,
    today: date,
    per_day: float,
    supposed: WhatIf | None = None,
    *,
    only: Collection[str] | None = None,
) -> dict[str, Candidate]:
    """Weigh the topics that are current or wait (or only those), by id, in the state's order.

    minutes : those believed to be left until the date, with the keeping of what is met
    """
    supposed = supposed or WhatIf()
    wanted = open_topics(state) if only is None else frozenset(only)
    start = _start(state, today, per_day, supposed, wanted)
    if not start.steps.ids:
        return {}
    steps = start.steps
    cost = priority_index.costs(steps, start.need, start.played, priority_index.USUAL.reach)
    dates = {t: supposed.dates.get(t, state.topic_date(t, today)) for t in wanted}
    return {
        topic_id: Candidate(
            topic_id=topic_id,
            minutes=cost[topic_id],
            left=_left(dates[topic_id], today),
            worth=_worth(state, topic_id, supposed, dated=dates[topic_id] is not None),
            shares=steps.shares,
        )
        for topic_id in priority_index.topic_rows(steps)
    }


def bases(state: State, today: date, known: Iterable[Candidate]) -> dict[str, Basis]:
    """Say what the minutes of each topic rest on."""
    minutes = {c.topic_id: c.minutes for c in known}
    start = _start(state, today, 1.0, WhatIf(), frozenset(minutes))
    enough = np.array(enough_rows(start.beliefs), dtype=bool)[start.steps.rows]
    rows = priority_index.topic_rows(start.steps)
    return {i: _basis(state, i, m, bool(enough[rows[i]].any())) for i, m in minutes.items()}


def _basis(state: State, topic_id: str, minutes: float, tried: bool) -> Basis:
    own = state.topic_steps(topic_id)
    phases = state.phases(step.id for step in own).values()
    rests = RestsOn.TAKES if tried else RestsOn.ENTERED if own else RestsOn.GUESS
    return Basis(
        steps=len(own),
        met=sum(phase in _MET for phase in phases),
        minutes=round(minutes),
        rests_on=rests,
        lent=None if own else lent_to(state, topic_id),
    )


def _start(
    state: State, today: date, per_day: float, supposed: WhatIf, wanted: frozenset[str]
) -> Start:
    tomorrow = today + timedelta(days=1)
    wide = supposed_state(state, wanted, supposed)
    return as_believed(wide, begun(wide, tomorrow, per_day, 1, seeded(wide, tomorrow)))


def _left(on: date | None, today: date) -> int:
    """Days from tomorrow to the date; a date that is past has none."""
    return OPEN_LEFT if on is None else max((on - today).days - 1, 0)


def _worth(state: State, topic_id: str, supposed: WhatIf, *, dated: bool) -> float:
    topic = state.topics[topic_id]
    importance = supposed.importances.get(topic_id, topic.importance)
    own = state.topic_steps(topic_id)
    met = sum(phase in _MET for phase in state.phases(step.id for step in own).values())
    done = met / len(own) if own else 0.0
    begun_more = BEGUN * (topic.place is Place.CURRENT)
    return weight_of(importance, dated=dated) * (1.0 + done + begun_more)


def weight_of(importance: int, *, dated: bool) -> float:
    """Return what an importance weighs: STEEPER times the one below."""
    return float(STEEPER ** (importance - 1)) * (1.0 if dated else UNDATED)


def by_worth(some: Iterable[Candidate]) -> list[Candidate]:
    """Sort by what comes out for the minutes, the most first."""
    return sorted(some, key=lambda c: (-c.worth / c.minutes, c.topic_id))
