"""Forecasts that were shown are kept as events, so that they can be verified later.

A later model cannot say again what this one said, so both are events: the chances of tomorrow's
cold takes with the evening's plan, and once a week what the outlook says of the dates ahead.
"""

from collections.abc import Sequence
from datetime import date, timedelta

from coldtake.domain.estimate import ForecastChance, SaidDay, SaidTopic, StepOutlook, TopicOutlook
from coldtake.domain.events import ChancesSaid, OutlookSaid
from coldtake.domain.history.state import State
from coldtake.domain.plan import Plan

SAID_EVERY = timedelta(days=7)  # outlooks of neighbouring days say nearly the same
_DIGITS = 3


def chances_of(state: State, plan: Plan) -> ChancesSaid | None:
    """Say how likely a cold take of each planned step is clean, where enough is known of it.

    Of all slots: also one for work may begin with a cold take.
    """
    from coldtake.learning.memory import estimates

    found = estimates(state, plan.request.day, {s.step_id for s in plan.slots})
    chances = tuple(
        ForecastChance(step_id=e.step_id, chance=round(e.clean_cold.mid, _DIGITS))
        for e in found.values()
        if e.enough
    )
    return ChancesSaid(for_day=plan.request.day, chances=chances) if chances else None


def news_in(state: State, said: ChancesSaid | None) -> tuple[ChancesSaid, ...]:
    """Return what of it has not been said yet: one event, or none."""
    if said is None:
        return ()
    known = set(state.said.get(said.for_day, SaidDay()).chances)
    fresh = tuple(
        c
        for c in said.chances
        if c not in known and not state.touched_since(c.step_id, said.for_day)
    )
    return (ChancesSaid(for_day=said.for_day, chances=fresh),) if fresh else ()


def is_due(state: State, today: date) -> bool:
    """Say whether the outlook's numbers were not kept within the last week."""
    return all(day + SAID_EVERY <= today for day in state.outlooks)


def outlook_of(found: Sequence[TopicOutlook]) -> OutlookSaid | None:
    """Return the numbers of an outlook that were shown, None where none was."""
    topics = tuple(_topic(topic) for topic in found if topic.enough)
    return OutlookSaid(topics=topics) if topics else None


def _topic(found: TopicOutlook) -> SaidTopic:
    return SaidTopic(
        topic_id=found.topic_id,
        on=found.on,
        clean_steps=found.clean_steps,
        ready_chance=round(found.ready_chance, _DIGITS),
        steps=tuple(_step(step) for step in found.steps),
    )


def _step(found: StepOutlook) -> ForecastChance:
    chance = round(found.chance.mid, _DIGITS) if found.enough else None
    return ForecastChance(step_id=found.step_id, chance=chance)
