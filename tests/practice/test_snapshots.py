"""What is kept on the shelf equals what the log says, and in doubt the log is right.

A state machine delivers events in any order, repeated and interleaved, to two processes on one
log, which are opened anew at any time; all of them must come to one state.
"""

import sqlite3
import threading
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from coldtake.domain import events as ev
from coldtake.domain.estimate import ForecastChance
from coldtake.domain.history.projection import fold
from coldtake.domain.performance import Performance, RunKind, RunPart
from coldtake.domain.take import Answer, Judge
from coldtake.practice.state import log as practice_log
from coldtake.practice.state import snapshots, state_projection
from coldtake.practice.state.log import Log
from coldtake.storage.database.log import SqlStore
from coldtake.storage.folder import sqlite_url
from making import NOON, SteppingClock, event, plan, slot, step, topic

STEPS = [step("slow"), step("fast")]
RUN = {"session_id": "s"}
ABOUT = {"slot_id": slot(STEPS[0]).id, "step_id": STEPS[0].id}
SAID = {"judge": Judge.PLAYER, "answer": Answer.YES}
WHAT = [
    ev.TopicKept(topic=topic()),
    *(ev.StepKept(step=one) for one in STEPS),
    ev.StepDropped(step_id=STEPS[1].id),
    ev.SettingChosen(name="a4_hz", value="442"),
    ev.PlanKept(plan=plan((slot(STEPS[0]),))),
    ev.ChancesSaid(for_day=NOON.date(), chances=(ForecastChance(step_id=STEPS[0].id, chance=0.6),)),
    ev.OutlookSaid(topics=()),
    ev.SessionStarted(**RUN, plan=plan((slot(STEPS[0]),))),
    ev.SlotStarted(**RUN, **ABOUT, planned_s=600),
    ev.SlotEnded(**RUN, **ABOUT, played_s=540.5),
    ev.SessionEnded(**RUN, note="better"),
    *(ev.TryAnswered(**SAID, try_id=f"t{n}", step_id=STEPS[n % 2].id, **RUN) for n in range(4)),
    ev.AnswerTakenBack(try_id="t2"),
    ev.PerformanceKept(
        performance=Performance(
            id="p", title="c", on=NOON.date(), place="hall", programme=(topic().id,)
        )
    ),
    ev.PerformanceTakenBack(performance_id="p"),
    ev.RunBegun(run_id="r", topic_ids=(topic().id,), performance_id="p"),
    ev.RunTold(
        run_id="r",
        run_kind=RunKind.RUN_THROUGH,
        parts=(RunPart(topic_id=topic().id, answer=Answer.NO, broke=(STEPS[0].id,)),),
        played_s=120.5,
    ),
    ev.RunTakenBack(run_id="r"),
    ev.TakeRecorded(take_id="t1", step_id="s", duration_s=2, sample_rate=48000, sha256="0" * 64),
]
HAPPENED = st.lists(
    st.builds(
        lambda data, minute, name: event(data, at=NOON + timedelta(minutes=minute), name=str(name)),
        st.sampled_from(WHAT),
        st.integers(-3000, 3000),
        st.integers(0, 3),
    ),
    min_size=1,
    max_size=8,
)


def shelving():
    return [t for t in threading.enumerate() if t.name == "shelving"]


class OneState(RuleBasedStateMachine):
    """Two processes on one database."""

    @initialize()
    def begin(self):
        folder = self.folder()
        self.url = sqlite_url(folder)
        self.told = {}
        self.logs = [self.opened(), self.opened()]

    def folder(self):
        raise NotImplementedError

    def opened(self):
        return Log(SqlStore(self.url), SteppingClock())

    @rule(which=st.integers(0, 1), events=HAPPENED)
    def deliver(self, which, events):
        self.logs[which].keep(tuple(events))
        for one in events:
            self.told.setdefault(one.id, one)

    @rule(which=st.integers(0, 1), back=st.integers(1, 6))
    def deliver_again(self, which, back):
        self.logs[which].keep(list(self.told.values())[-back:][::-1])

    @rule(which=st.integers(0, 1))
    def look(self, which):
        self.logs[which].state().phases()

    @rule(which=st.integers(0, 1))
    def open_anew(self, which):
        for thread in shelving():
            thread.join()
        self.logs[which].store.close()
        self.logs[which] = self.opened()

    @invariant()
    def all_come_to_one_state(self):
        if hasattr(self, "told"):
            right = fold(self.told.values())
            assert [log.state() == right for log in self.logs] == [True, True]

    def teardown(self):
        for thread in shelving():
            thread.join()
        for log in getattr(self, "logs", ()):
            log.store.close()


def test_any_order_repetition_and_interleaving_gives_one_state(tmp_path_factory, monkeypatch):
    """With little held as recent and much shelved, so that every way is gone often."""
    monkeypatch.setattr(state_projection, "RECENT_MOST", 6)
    monkeypatch.setattr(state_projection, "MARK_EVERY", 2)
    monkeypatch.setattr(state_projection, "SHELVED_RECENT", 3)
    monkeypatch.setattr(practice_log, "SAVE_FROM", 4)

    class InFolder(OneState):
        def folder(self):
            return tmp_path_factory.mktemp("one")

    from hypothesis.stateful import run_state_machine_as_test

    run_state_machine_as_test(
        InFolder,
        settings=settings(
            max_examples=12,
            stateful_step_count=12,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )


@pytest.fixture
def played(tmp_path, monkeypatch):
    """A folder with a log that was shelved, and the state that follows from it."""
    monkeypatch.setattr(practice_log, "SAVE_FROM", 4)
    log = Log(SqlStore(sqlite_url(tmp_path)), SteppingClock())
    log.keep([event(data, at=NOON + timedelta(minutes=n)) for n, data in enumerate(WHAT)])
    state = log.state()
    for thread in shelving():
        thread.join()
    log.store.close()
    return tmp_path, state


def again(folder, monkeypatch):
    """Open a log anew; say whether it had to read all of it."""
    read = []
    history = SqlStore.history
    monkeypatch.setattr(SqlStore, "history", lambda self: read.append(1) or history(self))
    log = Log(SqlStore(sqlite_url(folder)), SteppingClock())
    state = log.state()
    log.store.close()
    return state, bool(read)


def changed(folder, statement):
    with sqlite3.connect(folder / "coldtake.db") as database:
        count = database.execute(statement).rowcount
    database.close()
    assert count == 1


def test_a_start_reads_the_shelf_and_not_the_log(played, monkeypatch):
    folder, state = played
    found, read_all = again(folder, monkeypatch)
    assert found == state
    assert not read_all


@pytest.mark.parametrize(
    "doubt",
    [
        "UPDATE computed SET body = substr(body, 1, length(body) / 2) WHERE name = 'state'",
        "UPDATE computed SET body = x'00' WHERE name = 'state'",
        "UPDATE computed SET upto = upto - 1 WHERE name = 'state'",
        "UPDATE computed SET maker = 'an older version' WHERE name = 'state'",
        "UPDATE computed SET sha256 = '' WHERE name = 'state'",
        "DELETE FROM computed WHERE name = 'state'",
    ],
)
def test_what_is_damaged_or_old_is_ignored(played, monkeypatch, doubt):
    folder, state = played
    changed(folder, doubt)
    found, read_all = again(folder, monkeypatch)
    assert found == state
    assert read_all


def test_a_log_that_lost_an_entry_is_not_the_one_that_was_shelved(played, monkeypatch):
    folder, _ = played
    changed(folder, "DELETE FROM log WHERE kind = 'setting_chosen'")
    found, read_all = again(folder, monkeypatch)
    assert read_all
    assert found.settings == {}


def test_what_is_no_state_is_read_as_none(played):
    _, state = played
    body = snapshots.write(state, [1, 2])
    assert snapshots.read(body) == (state, [1, 2])
    for cut in range(0, len(body), 97):
        assert snapshots.read(body[:cut]) is None
    assert snapshots.read(snapshots.write(state, [])[:-1] + b"\xff") is None


def test_instants_keep_their_distance_to_utc_on_the_shelf(played, monkeypatch):
    from zoneinfo import ZoneInfo

    folder, _ = played
    here = NOON.astimezone(ZoneInfo("Asia/Kolkata")) + timedelta(hours=3)
    log = Log(SqlStore(sqlite_url(folder)), SteppingClock())
    log.keep([event(ev.TryAnswered(**SAID, try_id="far", step_id="x"), at=here)])
    log.keep([event(ev.AnswerTakenBack(try_id=str(n)), at=here, name=str(n)) for n in range(9)])
    log.state()
    for thread in shelving():
        thread.join()
    log.store.close()
    found, read_all = again(folder, monkeypatch)
    assert not read_all
    assert found.tries["far"].at.isoformat() == here.isoformat()
