"""Which try is a cold take: the first of its step that day, before any work on it."""

from datetime import UTC, date, datetime, time, timedelta

import pytest

from coldtake.domain import events as ev
from coldtake.domain.history.projection import fold
from coldtake.domain.ids import named_id
from coldtake.domain.plan import Period, Plan, PlanRequest, PlanRules, Slot, SlotKind
from coldtake.domain.take import Answer, Judge

DAY = date(2027, 1, 12)
START = datetime(2027, 1, 12, 17, tzinfo=UTC)
STEP = "step"


def plan_with(kind: SlotKind, *, begins_cold: bool = False) -> Plan:
    slot = Slot(
        id="slot",
        step_id=STEP,
        topic_id="topic",
        kind=kind,
        minutes=10,
        question="?",
        goal="",
        reason="",
        begins_cold=begins_cold,
    )
    request = PlanRequest(day=DAY, starts_at=time(17), minutes=20)
    return Plan(id="plan", request=request, rules=PlanRules(), periods=(Period(slots=(slot,)),))


def event(seconds: float, data: ev.AnyData) -> ev.Event:
    at = START + timedelta(seconds=seconds)
    return ev.Event(id=named_id("test", str(seconds), repr(data)), at=at, day=DAY, data=data)


def answered(seconds: float, try_id: str) -> ev.Event:
    data = ev.TryAnswered(
        try_id=try_id,
        step_id=STEP,
        answer=Answer.YES,
        judge=Judge.PLAYER,
        session_id="session",
        slot_id="slot",
    )
    return event(seconds, data)


def opening(kind: SlotKind, *, begins_cold: bool = False) -> list[ev.Event]:
    return [
        event(
            0,
            ev.SessionStarted(session_id="session", plan=plan_with(kind, begins_cold=begins_cold)),
        ),
        event(
            1,
            ev.SlotStarted(session_id="session", slot_id="slot", step_id=STEP, planned_s=600),
        ),
    ]


@pytest.mark.parametrize(
    ("kind", "seconds", "cold"),
    [
        (SlotKind.COLD, 30, True),
        (SlotKind.COLD, 110, True),  # a long passage is still one chance
        (SlotKind.WORK, 30, True),  # straight away, before any work
        (SlotKind.WORK, 400, False),  # after minutes of work on it
    ],
)
def test_first_try_is_cold_unless_work_came_before(kind, seconds, cold):
    state = fold([*opening(kind), answered(seconds, "try")])
    assert state.tries["try"].cold is cold


@pytest.mark.parametrize(("ended", "cold"), [(None, True), (200, False)])
def test_a_slot_that_begins_with_the_cold_take_leaves_time_for_it(ended, cold):
    """Its player was told not to warm up: a long passage is answered minutes after the start.

    A slot that ended without an answer was used for something else.
    """
    opened = opening(SlotKind.WORK, begins_cold=True)
    if ended is not None:
        over = ev.SlotEnded(
            session_id="session", slot_id="slot", step_id=STEP, played_s=ended, early=True
        )
        opened.append(event(ended, over))
    state = fold([*opened, answered(400, "try"), answered(500, "again")])
    assert [t.cold for t in state.tries.values()] == [cold, False]


def test_second_try_is_warm():
    state = fold([*opening(SlotKind.COLD), answered(30, "one"), answered(60, "two")])
    assert [t.cold for t in state.tries.values()] == [True, False]


def test_take_in_a_work_slot_is_warm_too():
    recorded = ev.TakeRecorded(
        take_id="take",
        step_id=STEP,
        duration_s=10,
        sample_rate=44100,
        sha256="0" * 64,
        session_id="session",
        slot_id="slot",
    )
    state = fold([*opening(SlotKind.WORK), event(300, recorded)])
    assert not state.takes["take"].cold
