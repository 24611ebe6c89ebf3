"""What every topic that is current or waits would still take until its date, and is worth."""

from collections.abc import Collection
from datetime import date, timedelta

from coldtake.domain.state import State
from coldtake.domain.topic import Place
from coldtake.planning import turns
from coldtake.planning.lookahead import begun, seeded
from coldtake.planning.on_time import Candidate
from coldtake.planning.supposed import WhatIf, supposed_state


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

    minutes : those that the planner thinks for its steps until the date; without a date, or with
        one that is past, until eight weeks ahead
    worth : importance / 3 for each step
    """
    tomorrow = today + timedelta(days=1)
    wanted = open_topics(state) if only is None else frozenset(only)
    wide = supposed_state(state, wanted, supposed or WhatIf())
    start = begun(wide, tomorrow, per_day, 1, seeded(wide, tomorrow))
    if not start.steps.ids:
        return {}
    steps = start.steps
    cost = turns.costs(steps, start.need, start.played, turns.USUAL.reach)
    return {
        topic_id: Candidate(
            topic_id=topic_id,
            minutes=cost[topic_id],
            left=int(steps.left[rows[0]]),
            worth=float(steps.weight[rows].sum()),
        )
        for topic_id, rows in turns.topic_rows(steps).items()
    }


def by_worth(some: Collection[Candidate]) -> list[Candidate]:
    """Sort by what comes out for the minutes, the most first."""
    return sorted(some, key=lambda c: (-c.worth / c.minutes, c.topic_id))
