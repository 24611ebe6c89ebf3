"""Small makers of records that the tests of several rooms share."""

from datetime import UTC, date, datetime, time, timedelta

from coldtake.domain import events as ev
from coldtake.domain.criterion import (
    KINDS,
    AnyTest,
    ConditionsTest,
    Criterion,
    NotesTest,
    OwnQuestionTest,
    TempoTest,
    Times,
)
from coldtake.domain.ids import named_id, uuid7
from coldtake.domain.plan import Period, Plan, PlanRequest, PlanRules, Slot, SlotKind
from coldtake.domain.take import Answer, Judge, Try
from coldtake.domain.topic import Step, Topic

DAY = date(2027, 1, 12)
ONCE = Times()
NOON = datetime(2027, 1, 12, 12, tzinfo=UTC)


class SteppingClock:
    """A clock that stands still until it is told to go on."""

    def __init__(self, now: datetime = NOON) -> None:
        self.instant = now
        self.count = 0

    def now(self) -> datetime:
        return self.instant

    def new_id(self) -> str:
        self.count += 1
        return uuid7(int(self.instant.timestamp() * 1000), self.count.to_bytes(10, "big"))

    def go_on(self, **parts: float) -> None:
        self.instant += timedelta(**parts)


def topic(name: str = "scales", **fields: object) -> Topic:
    return Topic(id=named_id("topic", name), title=name, **fields)


def step(name: str = "slow", of: str = "scales", *, times: Times = ONCE, **fields) -> Step:
    criterion = fields.pop("criterion", Criterion(tests=(NotesTest(),), times=times))
    return Step(
        id=named_id("step", name),
        topic_id=named_id("topic", of),
        title=name,
        criterion=criterion,
        **fields,
    )


def slot(of: Step, *, kind: SlotKind = SlotKind.WORK, minutes: int = 10, name: str = "") -> Slot:
    return Slot(
        id=named_id("slot", of.id, kind, name),
        step_id=of.id,
        topic_id=of.topic_id,
        kind=kind,
        minutes=minutes,
        question="Every note right?",
        goal="",
        reason="",
    )


def plan(*periods: tuple[Slot, ...], minutes: int = 60, rules: PlanRules | None = None) -> Plan:
    request = PlanRequest(day=DAY, starts_at=time(17), minutes=minutes)
    return Plan(
        id=named_id("plan"),
        request=request,
        rules=rules or PlanRules(),
        periods=tuple(Period(slots=slots) for slots in periods),
    )


def event(data: ev.AnyData, *, at: datetime = NOON, day: date | None = None, name="") -> ev.Event:
    return ev.Event(
        id=named_id("event", at.isoformat(), repr(data), name),
        at=at,
        day=day or at.date(),
        data=data,
    )


def attempt(answer: Answer, *, day: int = 0, cold: bool = False, number: int = 0) -> Try:
    at = NOON + timedelta(days=day, minutes=number)
    return Try(
        id=named_id("try", str(day), str(number)),
        step_id=step().id,
        at=at,
        day=at.date(),
        answer=answer,
        judge=Judge.PLAYER,
        cold=cold,
    )


def one_of_each(mark: float = 96.0) -> tuple[AnyTest, ...]:
    """One test of every kind, with its own defaults; what has none is given here."""
    given = {
        TempoTest: {"mark": mark},
        OwnQuestionTest: {"question": "Does it sing?"},
        ConditionsTest: {"stated": ("standing",)},
    }
    return tuple(kind(**given.get(kind, {})) for kind in KINDS.values())
