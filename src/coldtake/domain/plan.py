"""A day's plan: periods of slots with breaks between, and the rules it must keep.

Rules are common practice, no source; each is a setting except `HARD_PERIOD_MIN`.
"""

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from itertools import pairwise
from typing import Annotated, NamedTuple

import msgspec
from msgspec import Meta

from coldtake.domain.requirement import Requirement, Requirements

SESSIONS_MOST = 8  # plans of one day
HARD_PERIOD_MIN = 60  # never more than this without a break, whatever the settings say
LEAST_BREAK_MIN = 3


class SlotKind(StrEnum):
    """What a slot is for."""

    COLD = "cold"
    WORK = "work"


class PlanRules(msgspec.Struct, frozen=True, kw_only=True):
    """The settings that shape a plan, in whole minutes."""

    period_cap_min: Annotated[int, Meta(ge=5, le=HARD_PERIOD_MIN)] = 30
    break_min: Annotated[int, Meta(ge=LEAST_BREAK_MIN, le=60)] = 5
    slot_least_min: Annotated[int, Meta(ge=1, le=30)] = 4
    slot_most_min: Annotated[int, Meta(ge=2, le=60)] = 12
    tightness_percent: Annotated[int, Meta(ge=30, le=100)] = 80
    topics_least: Annotated[int, Meta(ge=1, le=8)] = 2
    topics_most: Annotated[int, Meta(ge=1, le=8)] = 4
    touch_days: Annotated[int, Meta(ge=1, le=30)] = 3
    topic_share_percent: Annotated[int, Meta(ge=34, le=100)] = 50
    cold_min: Annotated[int, Meta(ge=1, le=10)] = 2


class Slot(msgspec.Struct, frozen=True, kw_only=True):
    """The time given to one exercise. `gain` is the step's value for the dates, in points.

    wish : number of the request's wish that this slot fulfils, from 0 (plans of older logs say
        only that it is `pinned`)
    begins_cold : a slot for work whose goal asks that its first try be the step's cold take
    """

    id: str
    step_id: str
    topic_id: str
    kind: SlotKind
    minutes: Annotated[int, Meta(ge=1, le=HARD_PERIOD_MIN)]
    question: str
    goal: str
    reason: str
    gain: float = 0.0
    pinned: bool = False
    wish: Annotated[int, Meta(ge=0)] | None = None
    begins_cold: bool = False


class Period(msgspec.Struct, frozen=True, kw_only=True):
    """Unbroken playing between two breaks."""

    slots: tuple[Slot, ...]

    @property
    def minutes(self) -> int:
        """Minutes of playing."""
        return sum(s.minutes for s in self.slots)


class LeftOut(msgspec.Struct, frozen=True, kw_only=True):
    """A step that is not in the plan, and what it would take to get in.

    lacks : what is not at hand that day; why it waits is said anew whenever it is shown
    """

    step_id: str
    topic_id: str
    reason: str
    lacks: tuple[Requirement, ...] = ()


class AskedAgain(msgspec.Struct, frozen=True, kw_only=True):
    """A met step that is to be asked back, with no cold take of it in this plan.

    on : last day on which its chance of a clean first try is as high as the player wants; where
        that is not after the plan's own day, it is due and waits
    chance : of a clean first try on the plan's day
    """

    step_id: str
    topic_id: str
    on: date
    chance: float


class Wish(msgspec.Struct, frozen=True, kw_only=True):
    """What the player insists on for one slot tomorrow; None leaves that to the solver.

    refused : the step stays out, but for slots that are wished after this. Otherwise it is in,
        with these minutes, at this place (period and index counted from 0)
    at_min : it begins so many minutes after the session's start; with it the index is only a hint
    """

    step_id: str
    kind: SlotKind = SlotKind.WORK
    refused: bool = False
    minutes: Annotated[int, Meta(ge=1, le=HARD_PERIOD_MIN)] | None = None
    period: Annotated[int, Meta(ge=0)] | None = None
    index: Annotated[int, Meta(ge=0)] | None = None
    at_min: Annotated[int, Meta(ge=0)] | None = None


class PlanRequest(msgspec.Struct, frozen=True, kw_only=True):
    """What the player gives: the day, its start on the clock, the minutes, and wishes.

    run_through : False keeps a run-through out that would be worth its minutes
    starts_on : date of the start, a night later than `day` for a start after midnight. None from
        noon on: the day's own
    at_hand : what there is that day; None: what usually is
    session : which one of the day's sessions, counted from 1 as they were added
    part_of : the session that asked for so long a day that this one is a part of it
    """

    day: date
    starts_at: time
    minutes: Annotated[int, Meta(ge=5, le=720)]
    wishes: tuple[Wish, ...] = ()
    run_through: bool = True
    starts_on: date | None = None
    session: Annotated[int, Meta(ge=1, le=SESSIONS_MOST)] = 1
    part_of: int | None = None

    @property
    def starts(self) -> datetime:
        """The start by the wall clock, without zone."""
        return datetime.combine(self.starts_on or self.day, self.starts_at)

    at_hand: Requirements | None = None


def session_name(request: PlanRequest) -> str:
    """Name a session of a day, for ids that follow from it: its first by the day alone."""
    day = request.day.isoformat()
    return day if request.session == 1 else f"{day}/{request.session}"


class PlannedRun(msgspec.Struct, frozen=True, kw_only=True):
    """A run-through at the start of a session, before anything is worked on.

    gain : what it would tell of the day, in points
    """

    performance_id: str
    topic_ids: tuple[str, ...]
    minutes: Annotated[int, Meta(ge=1, le=HARD_PERIOD_MIN)]
    reason: str
    gain: float = 0.0


class Moment(NamedTuple):
    """When a slot of a plan begins, or a break (slot None), and how long it is."""

    begins: datetime
    slot: Slot | None
    minutes: int


def _later(start: datetime, minutes: int) -> datetime:
    if start.tzinfo is None:
        return start + timedelta(minutes=minutes)
    return (start.astimezone(UTC) + timedelta(minutes=minutes)).astimezone(start.tzinfo)


class Plan(msgspec.Struct, frozen=True, kw_only=True):
    """Tomorrow, decided. `minutes` includes the breaks and is never above what was given.

    value, bound : value of the chosen minutes and an upper bound on any plan's, in points
    remarks : what the player should know (no history yet, one topic only, load above usual …)
    shared : topics that may not take more than their share of the minutes
    asked_again : met steps whose cold takes come in the next days, and those that are due and wait
    """

    id: str
    request: PlanRequest
    rules: PlanRules
    periods: tuple[Period, ...]
    spare: tuple[Slot, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    remarks: tuple[str, ...] = ()
    value: float = 0.0
    bound: float = 0.0
    run: PlannedRun | None = None
    shared: tuple[str, ...] = ()
    asked_again: tuple[AskedAgain, ...] = ()

    @property
    def lead_min(self) -> int:
        """Minutes before the first slot: a run-through with the break after it."""
        return self.run.minutes + self.rules.break_min if self.run else 0

    @property
    def slots(self) -> tuple[Slot, ...]:
        """All slots in playing order."""
        return tuple(s for p in self.periods for s in p.slots)

    def along(self, start: datetime) -> Iterator[Moment]:
        """Walk slots and breaks along the clock, from an aware instant or a bare local time.

        A run-through comes before all of them.

        Minutes pass as they do, also where the clock is put forward or back meanwhile.
        """
        passed = self.lead_min
        for number, period in enumerate(self.periods):
            if number:
                yield Moment(_later(start, passed), None, self.rules.break_min)
                passed += self.rules.break_min
            for slot in period.slots:
                yield Moment(_later(start, passed), slot, slot.minutes)
                passed += slot.minutes

    @property
    def minutes(self) -> int:
        """Playing and breaks together."""
        breaks = max(len(self.periods) - 1, 0) * self.rules.break_min
        return self.lead_min + breaks + sum(p.minutes for p in self.periods)


class Violation(msgspec.Struct, frozen=True, kw_only=True):
    """A broken rule: its name, whether it is hard, and a sentence for the player."""

    rule: str
    hard: bool
    words: str


def _period_faults(plan: Plan) -> list[Violation]:
    faults = []
    for number, period in enumerate(plan.periods, start=1):
        if period.minutes > HARD_PERIOD_MIN:
            words = f"Period {number} is {period.minutes} minutes; 60 without a break is the limit."
            faults.append(Violation(rule="hard_cap", hard=True, words=words))
        elif period.minutes > plan.rules.period_cap_min:
            words = (
                f"Period {number} is {period.minutes} minutes; "
                f"your limit is {plan.rules.period_cap_min}."
            )
            faults.append(Violation(rule="period_cap", hard=False, words=words))
    return faults


def _neighbour_faults(plan: Plan) -> list[Violation]:
    words = "The same step is in two neighbouring slots."
    return [
        Violation(rule="neighbours", hard=False, words=words)
        for a, b in pairwise(plan.slots)
        if a.step_id == b.step_id
    ]


def _cold_faults(plan: Plan) -> list[Violation]:
    worked: set[str] = set()
    faults = []
    for slot in plan.slots:
        if slot.kind is SlotKind.COLD and slot.topic_id in worked:
            words = "A cold take comes after work on the same topic."
            faults.append(Violation(rule="cold_first", hard=False, words=words))
        elif slot.kind is SlotKind.WORK:
            worked.add(slot.topic_id)
    return faults


def _size_faults(plan: Plan) -> list[Violation]:
    faults = []
    if plan.minutes > plan.request.minutes:
        words = f"The plan takes {plan.minutes} minutes; you gave {plan.request.minutes}."
        faults.append(Violation(rule="time_given", hard=True, words=words))
    topics = {s.topic_id for s in plan.slots}
    if len(topics) > plan.rules.topics_most:
        words = f"{len(topics)} topics in one session; your limit is {plan.rules.topics_most}."
        faults.append(Violation(rule="topics_most", hard=False, words=words))
    return faults


def _share_faults(plan: Plan) -> list[Violation]:
    total, most = sum(p.minutes for p in plan.periods), plan.rules.topic_share_percent
    faults = []
    for topic_id in plan.shared:
        minutes = sum(s.minutes for s in plan.slots if s.topic_id == topic_id)
        if 100 * minutes > most * total:
            words = f"One topic takes {minutes} of {total} minutes; your limit is {most} %."
            faults.append(Violation(rule="topic_share", hard=False, words=words))
    return faults


def violations(plan: Plan) -> tuple[Violation, ...]:
    """Every rule of section 3 that this plan breaks; pinned slots may break soft ones."""
    return (
        *_period_faults(plan),
        *_size_faults(plan),
        *_cold_faults(plan),
        *_neighbour_faults(plan),
        *_share_faults(plan),
    )
