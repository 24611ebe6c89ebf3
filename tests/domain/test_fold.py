"""One log gives one state, in whatever order and however often its events arrive."""

import random
from datetime import UTC, datetime, timedelta

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldtake.domain import events as ev
from coldtake.domain.estimate import ForecastChance, Interval, SaidTopic
from coldtake.domain.history.projection import apply, fold, order_key
from coldtake.domain.history.state import State
from coldtake.domain.instants import Misdating
from coldtake.domain.page import PageFile, PageView
from coldtake.domain.performance import Performance, RunKind, RunPart
from coldtake.domain.requirement import Appointment
from coldtake.domain.take import Answer, FirstTry, Judge, JudgingFault, Verdict
from coldtake.domain.told_days import DayKind, ToldDay
from coldtake.domain.topic import Place, StoredPassage
from making import DAY, NOON, event, plan, slot, step, topic

TOPICS = ("scales", "tune")
STEPS = (step("slow"), step("fast"), step("head", of="tune"))
SAID = SaidTopic(
    topic_id=topic("scales").id,
    on=NOON.date(),
    clean_steps=Interval(low=0, mid=1, high=2),
    ready_chance=0.5,
    steps=(),
)
VERDICT = Verdict(answer=Answer.NO, reason="", tempo_bpm=None, tests=(), notes=(), engine="test")


def strategies():
    """Any event about a small world, its instants close together so that many tie."""
    steps = st.sampled_from([s.id for s in STEPS])
    sessions = st.sampled_from(["s1", "s2"])
    slots = st.sampled_from([slot(s).id for s in STEPS])
    tries = st.sampled_from(["t1", "t2", "t3"])
    seconds = st.sampled_from([0.0, 90.0, 300.5])
    appointments = st.sampled_from(["a1", "a2"])
    the_plan = st.just(plan(tuple(slot(s) for s in STEPS)))
    answered = st.builds(
        ev.TryAnswered,
        try_id=tries,
        step_id=steps,
        answer=st.sampled_from(Answer),
        judge=st.sampled_from(Judge),
        session_id=st.none() | sessions,
        tempo_bpm=st.none() | st.just(80.0),
    )
    recorded = st.builds(
        ev.TakeRecorded,
        take_id=tries,
        step_id=steps,
        duration_s=seconds,
        sample_rate=st.just(48000),
        sha256=st.just("0" * 64),
        session_id=st.none() | sessions,
        first_try=st.none() | st.sampled_from(FirstTry),
    )
    said_chance = st.builds(ForecastChance, step_id=steps, chance=st.floats(0, 1))
    said_chances = st.lists(said_chance, max_size=3).map(tuple)
    said_topic = st.builds(
        SaidTopic,
        topic_id=st.just(topic(TOPICS[0]).id),
        on=st.just(NOON.date()),
        clean_steps=st.builds(Interval, low=st.just(1.0), mid=st.just(2.0), high=st.just(3.0)),
        ready_chance=st.floats(0, 1),
        steps=said_chances,
    )
    topics = st.sampled_from([topic(name).id for name in TOPICS])
    performances = st.sampled_from(["p1", "p2"])
    runs = st.sampled_from(["r1", "r2", "r3"])
    parts = st.builds(
        RunPart, topic_id=topics, answer=st.sampled_from(Answer), broke=st.lists(steps).map(tuple)
    )
    told = st.builds(
        ev.RunTold,
        run_id=runs,
        run_kind=st.sampled_from(RunKind),
        performance_id=st.none() | performances,
        parts=st.lists(parts, max_size=2).map(tuple),
        played_s=seconds,
    )
    performance = st.builds(
        Performance,
        id=performances,
        title=st.just("concert"),
        on=st.just(NOON.date() + timedelta(days=3)),
        programme=st.lists(topics, max_size=2, unique=True).map(tuple),
    )
    files = st.sampled_from(["f1", "f2"])
    views = st.builds(PageView, file_id=files, number=st.just(1), turn=st.integers(0, 3))
    kinds = [
        st.builds(ev.PerformanceKept, performance=performance),
        st.builds(ev.PerformanceTakenBack, performance_id=performances),
        st.builds(ev.RunBegun, run_id=runs, topic_ids=st.lists(topics, max_size=2).map(tuple)),
        told,
        st.builds(ev.RunTakenBack, run_id=runs),
        st.builds(
            ev.AppointmentKept,
            appointment=st.builds(Appointment, id=appointments, on=st.just(NOON.date())),
        ),
        st.builds(ev.AppointmentDeleted, appointment_id=appointments),
        st.builds(
            ev.DaysTold,
            first=st.just(NOON.date()),
            last=st.sampled_from([NOON.date() + timedelta(days=n) for n in (-1, 0, 2)]),
            told=st.builds(ToldDay, kind=st.sampled_from(DayKind), minutes=st.just(20)),
        ),
        st.builds(
            ev.WeekdayTold, weekday=st.integers(1, 7), minutes=st.none() | st.integers(0, 720)
        ),
        st.builds(
            ev.EntryMisdated,
            event=st.builds(event, answered, at=st.just(datetime(1970, 1, 1, tzinfo=UTC))),
            why=st.sampled_from(Misdating),
            arrived=st.just(NOON),
            arrived_on=st.just(NOON.date()),
        ),
        st.builds(
            ev.PageFileKept,
            file=st.builds(
                PageFile,
                id=files,
                topic_id=topics,
                name=st.just("a.pdf"),
                sha256=st.just("0" * 64),
                deleted=st.booleans(),
            ),
            views=st.lists(views, max_size=1).map(tuple),
        ),
        st.builds(ev.PageViewChosen, view=views),
        st.builds(
            ev.PencilKept,
            file_id=files,
            number=st.just(1),
            strokes=st.sampled_from([(), ((1, 2, 3, 4),)]),
        ),
        st.builds(ev.MisdatedSettled, event_ids=st.lists(tries).map(tuple)),
        st.builds(ev.TopicKept, topic=st.sampled_from([topic(n) for n in TOPICS])),
        st.builds(ev.TopicPlaced, topic_id=topics, place=st.sampled_from(Place)),
        st.builds(ev.StepKept, step=st.sampled_from(STEPS)),
        st.builds(ev.StepsOrdered, topic_id=topics, step_ids=st.lists(steps).map(tuple)),
        st.builds(ev.StepDropped, step_id=steps),
        st.builds(
            ev.PassageKept,
            passage=st.just(StoredPassage(id="p", title="p", format="abc", text="X:1")),
        ),
        st.builds(ev.SettingChosen, name=st.just("a4_hz"), value=st.sampled_from(["440", "442"])),
        st.builds(ev.PlanKept, plan=the_plan),
        st.builds(ev.PlanDeleted, for_day=st.just(DAY), session=st.integers(1, 2)),
        st.builds(ev.ChancesSaid, for_day=st.just(NOON.date()), chances=said_chances),
        st.builds(ev.OutlookSaid, topics=st.lists(said_topic, max_size=1).map(tuple)),
        st.builds(ev.SessionStarted, session_id=sessions, plan=the_plan),
        st.builds(ev.IntentionSet, session_id=sessions, slot_id=st.none() | slots, words=st.text()),
        st.builds(
            ev.SlotStarted, session_id=sessions, slot_id=slots, step_id=steps, planned_s=seconds
        ),
        st.builds(
            ev.SlotEnded, session_id=sessions, slot_id=slots, step_id=steps, played_s=seconds
        ),
        st.builds(ev.SlotAdded, session_id=sessions, slot=st.sampled_from([slot(STEPS[0])])),
        st.builds(ev.BreakStarted, session_id=sessions, after_period=st.just(0), planned_s=seconds),
        st.builds(ev.BreakEnded, session_id=sessions, after_period=st.just(0)),
        answered,
        st.builds(ev.AnswerTakenBack, try_id=tries),
        recorded,
        st.builds(ev.FirstTrySaid, take_id=tries, first_try=st.sampled_from(FirstTry)),
        st.builds(ev.ReferenceChosen, step_id=steps, take_id=st.none() | tries),
        st.builds(ev.TakeJudged, take_id=tries, verdict=st.just(VERDICT)),
        st.builds(
            ev.JudgingFailed,
            take_id=tries,
            engine=st.sampled_from(["one", "two"]),
            why=st.sampled_from(JudgingFault),
        ),
        st.builds(ev.TakeDeleted, take_id=tries, step_id=steps),
        st.builds(ev.SessionEnded, session_id=sessions, note=st.text(), early=st.booleans()),
    ]
    assert len(kinds) == len(ev.AnyData.__args__), "a kind of event is missing here"
    instants = st.integers(0, 40).map(lambda n: NOON + timedelta(seconds=30 * n))
    return st.lists(
        st.builds(
            lambda data, at, name: event(data, at=at, name=str(name)),
            st.one_of(kinds),
            instants,
            st.integers(0, 2),
        ),
        max_size=40,
    )


LOGS = strategies()


@settings(max_examples=80, deadline=None)
@given(LOGS, st.randoms(use_true_random=False))
def test_order_and_repetition_change_nothing(log, chance: random.Random):
    delivered = log + chance.sample(log, len(log) // 2)
    chance.shuffle(delivered)
    assert fold(delivered) == fold(log)


@settings(max_examples=80, deadline=None)
@given(LOGS, st.integers(0, 40))
def test_a_copy_stays_as_it_was(log, at):
    ordered = sorted({e.id: e for e in log}.values(), key=order_key)
    state = State()
    for one in ordered[:at]:
        apply(state, one)
    copy = state.copy()
    for one in ordered[at:]:
        apply(state, one)
    assert copy == fold(ordered[:at])
    assert state == fold(log)


def test_a_copy_of_a_running_session_stays_as_it_was():
    """Cut a whole session at every place: what comes later must not reach into the copy."""
    own, of = {"session_id": "s1"}, {"slot_id": slot(STEPS[0]).id, "step_id": STEPS[0].id}
    answer = {"step_id": STEPS[0].id, "answer": Answer.NO, "judge": Judge.PLAYER}
    data = [
        ev.SessionStarted(**own, plan=plan((slot(STEPS[0]),))),
        ev.IntentionSet(**own, slot_id=None, words="calm"),
        ev.SlotStarted(**own, **of, planned_s=60),
        ev.TryAnswered(**own, **answer, try_id="t1"),
        ev.TryAnswered(**own, **answer, try_id="t2"),
        ev.AnswerTakenBack(try_id="t1"),
        ev.SlotEnded(**own, **of, played_s=50),
        ev.BreakStarted(**own, after_period=0, planned_s=300),
        ev.BreakEnded(**own, after_period=0),
        ev.SlotAdded(**own, slot=slot(STEPS[1])),
        ev.SessionEnded(**own, note="good"),
    ]
    log = [event(datum, at=NOON + timedelta(minutes=n)) for n, datum in enumerate(data)]
    for cut in range(len(log)):
        state = fold(log[:cut])
        copy = state.copy()
        for later in log[cut:]:
            apply(state, later)
        assert copy == fold(log[:cut]), cut


@settings(max_examples=60, deadline=None)
@given(LOGS)
def test_events_survive_their_json(log):
    assert [ev.from_json(ev.to_json(one)) for one in log] == log


@settings(max_examples=60, deadline=None)
@given(LOGS)
def test_what_follows_from_a_state_never_raises(log):
    state = fold(log)
    assert set(state.standings()) == set(state.topics)
    assert set(state.phases()) == set(state.steps)
    running = state.running_session()
    assert running is None or running.ended_at is None


def test_both_answers_to_one_try_are_kept_and_the_players_counts():
    at = {"try_id": "t", "step_id": STEPS[0].id}
    heard = event(ev.TryAnswered(**at, answer=Answer.NO, judge=Judge.TOOL))
    said = event(
        ev.TryAnswered(**at, answer=Answer.YES, judge=Judge.PLAYER), at=NOON + timedelta(minutes=1)
    )
    only = fold([said, heard]).tries["t"]
    assert (only.answer, only.judge, only.heard) == (Answer.YES, Judge.PLAYER, Answer.NO)
    assert only.at == NOON  # the take's own instant, not that of the later answer


def test_taking_back_an_answer_whose_session_began_later_by_the_clock():
    """A clock put right in mid-session must not make the log unreadable."""
    answer = ev.TryAnswered(
        try_id="t", step_id="x", answer=Answer.NO, judge=Judge.PLAYER, session_id="s1"
    )
    log = [
        event(answer),
        event(ev.SessionStarted(session_id="s1", plan=plan()), at=NOON + timedelta(minutes=1)),
        event(ev.AnswerTakenBack(try_id="t"), at=NOON + timedelta(minutes=2)),
    ]
    assert fold(log).tries == {}


def test_a_changed_step_keeps_its_place_in_the_order():
    first, second = STEPS[0], STEPS[1]
    log = [
        event(ev.TopicKept(topic=topic())),
        event(ev.StepKept(step=first), at=NOON + timedelta(seconds=1)),
        event(ev.StepKept(step=second), at=NOON + timedelta(seconds=2)),
        event(
            ev.StepKept(step=msgspec.structs.replace(first, title="slower")),
            at=NOON + timedelta(seconds=3),
        ),
    ]
    assert [s.title for s in fold(log).topic_steps(topic().id)] == ["slower", "fast"]


@pytest.mark.parametrize("missing", ["id", "at", "day", "data"])
def test_an_event_without_a_field_is_named(missing):
    whole = msgspec.json.decode(ev.to_json(event(ev.AnswerTakenBack(try_id="t"))))
    del whole[missing]
    with pytest.raises(msgspec.ValidationError, match=missing):
        ev.from_json(msgspec.json.encode(whole))


def said(chance: float, minute: int, of: str = STEPS[0].id):
    data = ev.ChancesSaid(for_day=NOON.date(), chances=(ForecastChance(step_id=of, chance=chance),))
    return event(data, at=NOON + timedelta(minutes=minute))


def test_the_last_word_before_the_take_counts_and_none_after_it():
    answered = event(
        ev.TryAnswered(try_id="t", step_id=STEPS[0].id, answer=Answer.YES, judge=Judge.PLAYER),
        at=NOON + timedelta(minutes=5),
    )
    log = [said(0.5, 0), said(0.6, 1), said(0.3, 2, of=STEPS[1].id), answered, said(0.9, 9)]
    known = fold(log).said[NOON.date()].chances
    assert {(c.step_id, c.chance) for c in known} == {(STEPS[0].id, 0.6), (STEPS[1].id, 0.3)}


def test_the_first_outlook_of_a_day_is_kept():
    one, two = ev.OutlookSaid(topics=()), ev.OutlookSaid(topics=(SAID,))
    log = [event(one), event(two, at=NOON + timedelta(minutes=1))]
    assert fold(log).outlooks[NOON.date()].topics == ()
