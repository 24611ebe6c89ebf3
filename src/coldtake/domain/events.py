"""The events of the log. Appended, never changed; everything else is computed from them.

`id` is a UUIDv7 made where the event arises, `at` the instant, `day` the practice day in the
player's own calendar. Two events with one id are the same event.
"""

from datetime import date, datetime

import msgspec

from coldtake.domain.estimate import ForecastChance, SaidTopic
from coldtake.domain.instants import Misdating
from coldtake.domain.page import PageFile, PageNumber, PageView, Strokes
from coldtake.domain.performance import Performance, RunKind, RunPart
from coldtake.domain.plan import Plan, Slot
from coldtake.domain.requirement import Appointment
from coldtake.domain.take import Answer, ClickTrack, FirstTry, Judge, JudgingFault, Verdict
from coldtake.domain.told_days import Minutes, ToldDay, Weekday
from coldtake.domain.topic import Place, Step, StoredPassage, Topic


class Data(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind"):
    """Base of what an event says; the tag `kind` names it."""


class TopicKept(Data, frozen=True, kw_only=True, tag="topic_kept"):
    """A topic was added, or its title, kind, importance, date or notes changed."""

    topic: Topic


class TopicPlaced(Data, frozen=True, kw_only=True, tag="topic_placed"):
    """The player moved a topic to waiting, current or laid aside."""

    topic_id: str
    place: Place


class StepKept(Data, frozen=True, kw_only=True, tag="step_kept"):
    """A step was added at the end of its topic, or changed in place."""

    step: Step


class StepsOrdered(Data, frozen=True, kw_only=True, tag="steps_ordered"):
    """The steps of a topic in their new order; steps not named keep their order at the end."""

    topic_id: str
    step_ids: tuple[str, ...]


class StepDropped(Data, frozen=True, kw_only=True, tag="step_dropped"):
    """A step was taken off its topic's map; its tries stay in the log."""

    step_id: str


class PassageKept(Data, frozen=True, kw_only=True, tag="passage_kept"):
    """Notation was added or replaced."""

    passage: StoredPassage


class PageFileKept(Data, frozen=True, kw_only=True, tag="page_file_kept"):
    """A file of pages is on disk, with its checksum; or it was deleted from its topic, or put back.

    views : how each of its pages is shown at first
    """

    file: PageFile
    views: tuple[PageView, ...] = ()


class PageViewChosen(Data, frozen=True, kw_only=True, tag="page_view_chosen"):
    """A page was turned, straightened or cropped."""

    view: PageView


class PencilKept(Data, frozen=True, kw_only=True, tag="pencil_kept"):
    """The pencil marks on a page as they are now: each stroke as x, y, x, y, ..."""

    file_id: str
    number: PageNumber
    strokes: Strokes = ()


class SettingChosen(Data, frozen=True, kw_only=True, tag="setting_chosen"):
    """A setting's new value, as text in the table's own syntax."""

    name: str
    value: str


class PlanKept(Data, frozen=True, kw_only=True, tag="plan_kept"):
    """A plan for a session of a day was made or changed; the last one for that session counts."""

    plan: Plan


class PlanDeleted(Data, frozen=True, kw_only=True, tag="plan_deleted"):
    """A planned session of a day will not be; what was played of it stays."""

    for_day: date
    session: int


class ChancesSaid(Data, frozen=True, kw_only=True, tag="chances_said"):
    """What was said of cold takes on `for_day` before they were played; the last word counts.

    In the log because no later model can say again what this one said.
    """

    for_day: date
    chances: tuple[ForecastChance, ...]


class OutlookSaid(Data, frozen=True, kw_only=True, tag="outlook_said"):
    """What was said of the dates ahead, to be held against what came; the first of a day counts."""

    topics: tuple[SaidTopic, ...]


class SessionStarted(Data, frozen=True, kw_only=True, tag="session_started"):
    """A session began with a plan (its own copy, so that a later plan does not change it)."""

    session_id: str
    plan: Plan


class IntentionSet(Data, frozen=True, kw_only=True, tag="intention_set"):
    """One sentence for the session (slot_id None) or from a slot on; empty when skipped."""

    session_id: str
    slot_id: str | None
    words: str


class SlotStarted(Data, frozen=True, kw_only=True, tag="slot_started"):
    """A slot's clock began at `at`; it ends `planned_s` later unless ended before."""

    session_id: str
    slot_id: str
    step_id: str
    planned_s: float


class SlotEnded(Data, frozen=True, kw_only=True, tag="slot_ended"):
    """A slot ended after `played_s` of playing; `early` when the player moved on."""

    session_id: str
    slot_id: str
    step_id: str
    played_s: float
    early: bool = False


class SlotAdded(Data, frozen=True, kw_only=True, tag="slot_added"):
    """A spare slot was taken into the session because a yes came early."""

    session_id: str
    slot: Slot


class BreakStarted(Data, frozen=True, kw_only=True, tag="break_started"):
    """A break's clock began at `at`."""

    session_id: str
    after_period: int
    planned_s: float


class BreakEnded(Data, frozen=True, kw_only=True, tag="break_ended"):
    """A break ended."""

    session_id: str
    after_period: int


class TryAnswered(Data, frozen=True, kw_only=True, tag="try_answered"):
    """A try was answered by the player, or by the tool from a take."""

    try_id: str
    step_id: str
    answer: Answer
    judge: Judge
    session_id: str | None = None
    slot_id: str | None = None
    take_id: str | None = None
    tempo_bpm: float | None = None


class AnswerTakenBack(Data, frozen=True, kw_only=True, tag="answer_taken_back"):
    """A slip of the finger: that try no longer counts."""

    try_id: str


class TakeRecorded(Data, frozen=True, kw_only=True, tag="take_recorded"):
    """A take's sound is on disk, with its checksum (SHA-256 of the FLAC file).

    first_try : of that day, as the player says of a take that came by hand; None: as the log tells
    to_judge : False where it is only kept
    """

    take_id: str
    step_id: str
    duration_s: float
    sample_rate: int
    sha256: str
    session_id: str | None = None
    slot_id: str | None = None
    click_bpm: float | None = None
    click: ClickTrack | None = None
    source: str = "microphone"
    first_try: FirstTry | None = None
    to_judge: bool = True


class FirstTrySaid(Data, frozen=True, kw_only=True, tag="first_try_said"):
    """The player said, or said otherwise, whether a take was its step's first try of the day."""

    take_id: str
    first_try: FirstTry


class TakeJudged(Data, frozen=True, kw_only=True, tag="take_judged"):
    """A verdict was given on a take; the last one counts."""

    take_id: str
    verdict: Verdict


class ReferenceChosen(Data, frozen=True, kw_only=True, tag="reference_chosen"):
    """Later takes of a step without notation are compared with this one; None: with none more."""

    step_id: str
    take_id: str | None


class JudgingFailed(Data, frozen=True, kw_only=True, tag="judging_failed"):
    """Judging a take came to nothing; its sound is kept, and an earlier verdict stands."""

    take_id: str
    engine: str
    why: JudgingFault


class TakeDeleted(Data, frozen=True, kw_only=True, tag="take_deleted"):
    """A take was deleted for good: its sound is gone, and what its entries said of it.

    entry_ids : the entries that were emptied in their places
    """

    take_id: str
    step_id: str
    entry_ids: tuple[str, ...] = ()


class SessionEnded(Data, frozen=True, kw_only=True, tag="session_ended"):
    """A session ended, early or not, with one line of note."""

    session_id: str
    note: str = ""
    early: bool = False


class PerformanceKept(Data, frozen=True, kw_only=True, tag="performance_kept"):
    """A performance was added, changed, or put back after it had been taken back."""

    performance: Performance


class PerformanceTakenBack(Data, frozen=True, kw_only=True, tag="performance_taken_back"):
    """A performance will not be; its run-throughs stay in the log."""

    performance_id: str


class RunBegun(Data, frozen=True, kw_only=True, tag="run_begun"):
    """A run-through began: of a programme, or of one topic (performance_id None)."""

    run_id: str
    topic_ids: tuple[str, ...]
    performance_id: str | None = None
    intention: str = ""


class RunTold(Data, frozen=True, kw_only=True, tag="run_told"):
    """What a run-through or the performance itself brought, piece by piece; the last one counts.

    played_s : seconds from start to end, 0 where unknown
    """

    run_id: str
    run_kind: RunKind
    parts: tuple[RunPart, ...]
    performance_id: str | None = None
    played_s: float = 0.0
    words: str = ""


class RunTakenBack(Data, frozen=True, kw_only=True, tag="run_taken_back"):
    """A run that was told by mistake, or begun and not played: it no longer counts."""

    run_id: str


class AppointmentKept(Data, frozen=True, kw_only=True, tag="appointment_kept"):
    """A rehearsal or lesson was added, changed, or restored after it had been deleted."""

    appointment: Appointment


class AppointmentDeleted(Data, frozen=True, kw_only=True, tag="appointment_deleted"):
    """A rehearsal or lesson will not be."""

    appointment_id: str


class DaysTold(Data, frozen=True, kw_only=True, tag="days_told"):
    """Days were told not to be like others, or to be like them again; both ends are included."""

    first: date
    last: date
    told: ToldDay


class WeekdayTold(Data, frozen=True, kw_only=True, tag="weekday_told"):
    """The minutes of a weekday (1: Monday) were told; None: the usual ones again."""

    weekday: Weekday
    minutes: Minutes | None = None


class EntryMisdated(Data, frozen=True, kw_only=True, tag="entry_misdated"):
    """An entry whose instant or day cannot be; it does not count until it is given its day.

    event : as it came; arrived, arrived_on : when it did, by this machine's clock
    in_log : an earlier version put it into the log as it is, where it is passed over now
    """

    event: "Event"
    why: Misdating
    arrived: datetime
    arrived_on: date
    in_log: bool = False


class MisdatedSettled(Data, frozen=True, kw_only=True, tag="misdated_settled"):
    """Misdated entries were given their day (they follow with it), or deleted by the player."""

    event_ids: tuple[str, ...]
    deleted: bool = False


AnyData = (
    TopicKept
    | TopicPlaced
    | StepKept
    | StepsOrdered
    | StepDropped
    | PassageKept
    | PageFileKept
    | PageViewChosen
    | PencilKept
    | SettingChosen
    | PlanKept
    | PlanDeleted
    | ChancesSaid
    | OutlookSaid
    | SessionStarted
    | IntentionSet
    | SlotStarted
    | SlotEnded
    | SlotAdded
    | BreakStarted
    | BreakEnded
    | TryAnswered
    | AnswerTakenBack
    | TakeRecorded
    | FirstTrySaid
    | TakeJudged
    | ReferenceChosen
    | JudgingFailed
    | TakeDeleted
    | SessionEnded
    | PerformanceKept
    | PerformanceTakenBack
    | RunBegun
    | RunTold
    | RunTakenBack
    | AppointmentKept
    | AppointmentDeleted
    | DaysTold
    | WeekdayTold
    | EntryMisdated
    | MisdatedSettled
)


class Event(msgspec.Struct, frozen=True, kw_only=True):
    """One line of the log."""

    id: str
    at: datetime
    day: date
    data: AnyData


_encoder = msgspec.json.Encoder()
_decoder = msgspec.json.Decoder(Event)


def to_json(event: Event) -> bytes:
    """Write one event as JSON (UTF-8, one line)."""
    return _encoder.encode(event)


def from_json(text: bytes | str) -> Event:
    """Read one event. Raises msgspec.DecodeError naming the field that is wrong."""
    try:
        return _decoder.decode(text)
    except RecursionError:
        raise msgspec.DecodeError("it is nested too deeply") from None
