"""Make the database of the present schema, to be kept for ever once that schema is released.

    PYTHONPATH=src:tests python tests/upgrade/build_released.py

Writes released/<revision>.db and, beside it, every event as it was sent in <revision>.jsonl. A file
that is there already is never written again: it stands for what players have on their disks.
"""

import sys
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import msgspec

from coldtake.domain import events as ev
from coldtake.domain.criterion import (
    ConditionsTest,
    Criterion,
    EvennessTest,
    NoStopsTest,
    NotesTest,
    OwnQuestionTest,
    SteadinessTest,
    TempoTest,
    Times,
    TimingTest,
    TuneTest,
)
from coldtake.domain.estimate import ForecastChance, Interval, SaidTopic
from coldtake.domain.ids import named_id
from coldtake.domain.instants import Misdating
from coldtake.domain.page import PageBand, PageFile, PageView
from coldtake.domain.performance import Performance, RunKind, RunPart
from coldtake.domain.plan import LeftOut, Period, Plan, PlanRequest, PlanRules, SlotKind, Wish
from coldtake.domain.requirement import Appointment
from coldtake.domain.take import (
    Answer,
    Figure,
    FirstTry,
    Judge,
    JudgingFault,
    NoteEvidence,
    NoteStatus,
    Restart,
    Verdict,
)
from coldtake.domain.told_days import DayKind, ToldDay
from coldtake.domain.topic import Exercise, PassageRef, Place, StoredPassage
from coldtake.storage.database.log import SqlStore
from coldtake.storage.database.schema import HEAD
from coldtake.storage.folder import sqlite_url
from making import slot, step, topic

RELEASED = Path(__file__).parent / "released"
START = datetime(2026, 11, 25, 16, 55, tzinfo=UTC)
ABC = "X:1\nT:Air\nM:4/4\nL:1/4\nK:C\nCDEF|G4|\n"

EVERY_TEST = (
    NotesTest(allowed=1),
    TempoTest(mark=60, beat_unit_beats=1.5, within_percent=5),
    SteadinessTest(),
    TimingTest(),
    EvennessTest(),
    TuneTest(a4_hz=442),
    NoStopsTest(),
    ConditionsTest(stated=("from memory",)),
    OwnQuestionTest(question="Does it sing?"),
)
FIRST = step(
    "slow",
    criterion=Criterion(tests=EVERY_TEST, times=Times(wanted=3, among=4)),
    exercise=Exercise(passage=PassageRef(passage_id="p", first_bar=1, last_bar=2), tempo_bpm=90),
)
PAPER = PageFile(
    id=named_id("paper"), topic_id=topic().id, name="air.pdf", sha256="1" * 64, pages=2
)
BAND = PageBand(
    file_id=PAPER.id, number=1, left=0.1, top=0.2, right=1.0, bottom=0.4, turn=1, angle_deg=-0.5
)
SECOND = step("fast", needs=(FIRST.id,), exercise=Exercise(marked=(BAND,)))
COLD, WORK = slot(FIRST, kind=SlotKind.COLD, minutes=2), slot(SECOND)
VERDICT = Verdict(
    answer=Answer.NO,
    reason="Bar 1: D instead of E.",
    tempo_bpm=88.5,
    tests=(Figure(name="notes", value=1, uncertainty=0, threshold=0, unit="notes", passed=False),),
    notes=(
        NoteEvidence(id="n1", status=NoteStatus.RIGHT, onset_s=0.5, pitch=60.02, cents=2.0),
        NoteEvidence(id="n2", status=NoteStatus.MISSED, expected_pitch=62, expected_beat=1.0),
    ),
    engine="released",
    restarts=(Restart(at_s=2.0, to_beat=0.0),),
    abstained=("n3",),
    tempo_curve=((0.0, 88.0), (4.0, 89.0)),
)
PLAN = Plan(
    id=named_id("plan"),
    request=PlanRequest(
        day=START.date(),
        starts_at=time(17),
        minutes=30,
        wishes=(Wish(step_id=SECOND.id, minutes=10),),
    ),
    rules=PlanRules(),
    periods=(Period(slots=(COLD, WORK)),),
    spare=(slot(FIRST),),
    left_out=(LeftOut(step_id="x", topic_id="y", reason="No minutes left."),),
    remarks=("This is the first plan.",),
)
SAID = SaidTopic(
    topic_id=topic().id,
    on=START.date() + timedelta(days=3),
    clean_steps=Interval(low=0.0, mid=1.0, high=2.0),
    ready_chance=0.25,
    steps=(ForecastChance(step_id=FIRST.id, chance=0.5),),
)
CONCERT = Performance(
    id="c",
    title="Concert at noon",
    on=START.date() + timedelta(days=3),
    place="the small hall",
    programme=(topic().id,),
)


EVENING = msgspec.structs.replace(
    PLAN,
    id=named_id("evening"),
    request=PlanRequest(day=START.date(), starts_at=time(20), minutes=20, session=2),
)
REHEARSAL = Appointment(id="a", title="With the other four", on=START.date())
NEVER_SET = ev.Event(
    id=named_id("never set"),
    at=datetime(1970, 1, 1, tzinfo=UTC),
    day=date(1970, 1, 1),
    data=ev.AnswerTakenBack(try_id="slip"),
)


def happenings() -> list[ev.AnyData]:
    """One of every kind of event, in an order that makes sense."""
    run = {"session_id": "s"}
    return [
        ev.SettingChosen(name="a4_hz", value="442"),
        ev.TopicKept(topic=topic(performance_on=START.date(), notes="for Ünal ♩")),
        ev.TopicPlaced(topic_id=topic().id, place=Place.CURRENT),
        ev.PassageKept(passage=StoredPassage(id="p", title="Air", format="abc", text=ABC)),
        ev.PageFileKept(file=PAPER, views=(PageView(file_id=PAPER.id, number=1),)),
        ev.PageViewChosen(
            view=PageView(
                file_id=PAPER.id, number=1, turn=1, angle_deg=-0.5, left=0.1, systems=((0.2, 0.4),)
            )
        ),
        ev.PencilKept(file_id=PAPER.id, number=1, strokes=((100, 200, 300, 400),)),
        ev.StepKept(step=FIRST),
        ev.StepKept(step=SECOND),
        ev.StepKept(step=step("gone")),
        ev.StepDropped(step_id=step("gone").id),
        ev.StepsOrdered(topic_id=topic().id, step_ids=(SECOND.id, FIRST.id)),
        ev.PlanKept(plan=PLAN),
        ev.ChancesSaid(
            for_day=START.date(), chances=(ForecastChance(step_id=FIRST.id, chance=0.625),)
        ),
        ev.OutlookSaid(topics=(SAID,)),
        ev.SessionStarted(**run, plan=PLAN),
        ev.IntentionSet(**run, slot_id=None, words="long lines"),
        ev.SlotStarted(**run, slot_id=COLD.id, step_id=FIRST.id, planned_s=120),
        ev.TakeRecorded(
            **run,
            take_id=named_id("take"),
            step_id=FIRST.id,
            slot_id=COLD.id,
            duration_s=11.5,
            sample_rate=48000,
            sha256="0" * 64,
            click_bpm=90,
        ),
        ev.JudgingFailed(take_id=named_id("take"), engine="line-2", why=JudgingFault.TIME),
        ev.TakeJudged(take_id=named_id("take"), verdict=VERDICT),
        ev.FirstTrySaid(take_id=named_id("take"), first_try=FirstTry.NO),
        ev.ReferenceChosen(step_id=FIRST.id, take_id=named_id("take")),
        ev.TakeDeleted(take_id=named_id("gone"), step_id=FIRST.id, entry_ids=(named_id("entry"),)),
        ev.TryAnswered(
            **run,
            try_id=named_id("take"),
            take_id=named_id("take"),
            step_id=FIRST.id,
            slot_id=COLD.id,
            answer=Answer.NO,
            judge=Judge.TOOL,
            tempo_bpm=88.5,
        ),
        ev.TryAnswered(
            **run,
            try_id="slip",
            step_id=FIRST.id,
            answer=Answer.CANNOT_TELL,
            judge=Judge.PLAYER,
        ),
        ev.AnswerTakenBack(try_id="slip"),
        ev.SlotEnded(**run, slot_id=COLD.id, step_id=FIRST.id, played_s=118.25),
        ev.BreakStarted(**run, after_period=0, planned_s=300),
        ev.BreakEnded(**run, after_period=0),
        ev.SlotAdded(**run, slot=WORK),
        ev.SessionEnded(**run, note="better", early=True),
        ev.PerformanceKept(performance=CONCERT),
        ev.PerformanceTakenBack(performance_id=CONCERT.id),
        ev.PerformanceKept(performance=CONCERT),
        ev.RunBegun(
            run_id="r1", topic_ids=(topic().id,), performance_id=CONCERT.id, intention="Play on."
        ),
        ev.RunTold(
            run_id="r1",
            run_kind=RunKind.RUN_THROUGH,
            performance_id=CONCERT.id,
            parts=(
                RunPart(topic_id=topic().id, answer=Answer.NO, broke=(FIRST.id,), words="the turn"),
            ),
            played_s=95.5,
        ),
        ev.RunBegun(run_id="r2", topic_ids=(topic().id,)),
        ev.RunTakenBack(run_id="r2"),
        ev.AppointmentKept(appointment=REHEARSAL),
        ev.AppointmentDeleted(appointment_id=REHEARSAL.id),
        ev.PlanKept(plan=EVENING),
        ev.PlanDeleted(for_day=EVENING.request.day, session=EVENING.request.session),
        ev.DaysTold(
            first=START.date() + timedelta(days=5),
            last=START.date() + timedelta(days=6),
            told=ToldDay(kind=DayKind.TRAVEL, minutes=10),
        ),
        ev.WeekdayTold(weekday=7, minutes=20),
        ev.EntryMisdated(
            event=NEVER_SET, why=Misdating.BEFORE, arrived=START, arrived_on=START.date()
        ),
        ev.MisdatedSettled(event_ids=(named_id("deleted"),), deleted=True),
    ]


def released_events() -> list[ev.Event]:
    """Give the happenings their ids and instants, one minute apart."""
    return [
        ev.Event(id=named_id("released", str(n)), at=at, day=START.date(), data=data)
        for n, data in enumerate(happenings())
        for at in [START + timedelta(minutes=n)]
    ]


def build() -> None:
    """Write the fixture of `HEAD` unless it is there."""
    target = RELEASED / f"{HEAD}.db"
    if target.exists():
        sys.exit(f"{target.name} is there already and stays as it is")
    RELEASED.mkdir(exist_ok=True)
    store = SqlStore(sqlite_url(RELEASED))
    store.append(released_events())
    store.refuse(b"{cut off", "it is cut off", START)
    store.close()
    (RELEASED / "coldtake.db").rename(target)
    lines = b"".join(ev.to_json(event) + b"\n" for event in released_events())
    target.with_suffix(".jsonl").write_bytes(lines)


if __name__ == "__main__":
    build()
