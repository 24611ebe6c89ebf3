"""The example is what it says it is: its topics, its history, its takes and their verdicts."""

from datetime import date, datetime, time, timedelta, timezone

import pytest

from coldtake import demo
from coldtake.demo.laying import step_id
from coldtake.demo.material import MATERIAL
from coldtake.demo.sounds import TakeFault, fault_index
from coldtake.demo.story import start_today
from coldtake.demo.takes import RECIPES, Recipe
from coldtake.domain.events import to_json
from coldtake.domain.history.projection import fold
from coldtake.domain.plan import SlotKind, violations
from coldtake.domain.progress import Standing
from coldtake.domain.take import Answer, Judge, NoteStatus, Take
from coldtake.domain.topic import StepPhase
from coldtake.errors import RuleError
from coldtake.music.playback.sounding import schedule
from coldtake.practice.services import House
from coldtake.storage.database.log import SqlStore
from coldtake.storage.folder import sqlite_url
from coldtake.storage.takes import FolderTakes
from making import SteppingClock

TODAY = date(2027, 1, 12)
CONCERT = date(2027, 3, 2)  # seven weeks later


class Stopper:
    """Asks to stop after a while."""

    def __init__(self, after: int) -> None:
        self.after = after

    def step(self, done: int, _total: int, _words: str) -> bool:
        return done < self.after


@pytest.fixture
def empty(tmp_path):
    clock = SteppingClock(datetime(2027, 1, 12, 9, tzinfo=timezone(timedelta(hours=1))))
    services = House(SqlStore(sqlite_url(tmp_path)), FolderTakes(tmp_path / "takes"), clock)
    yield services
    services.close()


def take_of(services: House, recipe: Recipe) -> Take:
    [take] = [t for t in services.state().takes.values() if t.step_id == step_id(recipe.step)]
    return services.takes.get(take.id)  # the state holds no notes


def recipe(fault: TakeFault, *, slow: bool = False) -> Recipe:
    [found] = [r for r in RECIPES if r.fault is fault and (r.tempo_share < 1) is slow]
    return found


def test_same_day_and_seed_give_the_same_log(example, empty):
    demo.build(empty, today=TODAY)
    told = [to_json(event) for _, event in empty.store.events()]
    assert told == [to_json(event) for _, event in example.store.events()]


def test_rebuilding_from_the_log_gives_the_same_state(example):
    state = fold(event for _, event in example.store.events())
    assert state == example.state()


@pytest.mark.parametrize("material", MATERIAL, ids=lambda m: m.name)
def test_every_passage_is_read(example, material):
    passage = example.pile.passage(material.id)
    assert 4 <= len(passage.bars) <= 16
    assert passage.is_one_line
    assert passage.transposition == -2  # everything is written for the clarinet in B-flat
    low, high = 52, 91  # written E3 to G6, the clarinet's range (common practice, no source)
    assert all(low <= note.written_pitch <= high for note in passage.notes)


def test_the_blues_has_twelve_bars_of_changes(example):
    [tune] = [m for m in MATERIAL if m.name == "tune"]
    symbols = [h.symbol for h in example.pile.passage(tune.id).harmonies]
    assert len(example.pile.passage(tune.id).bars) == 12
    assert symbols[0] == "G7"
    assert {"C7", "D7", "Am7", "E7"} <= set(symbols)


def test_eight_topics_stand_where_the_story_says(example):
    standings = sorted(example.state().standings().values())
    assert standings == sorted(
        [*[Standing.CURRENT] * 3, Standing.KEPT_UP, Standing.LAID_ASIDE, *[Standing.WAITING] * 3]
    )


def test_the_concert_lies_seven_weeks_ahead(example):
    state = example.state()
    dated = {t.title: t.performance_on for t in state.topics.values() if t.performance_on}
    assert sorted(dated.values())[:2] == [CONCERT, CONCERT]
    assert len(dated) == 3


def test_every_kind_of_criterion_and_needs_occur(example):
    steps = example.state().steps.values()
    kinds = {type(test).__name__ for s in steps for test in s.criterion.tests}
    assert {"NotesTest", "TempoTest", "TimingTest", "NoStopsTest", "TuneTest"} <= kinds
    assert {"EvennessTest", "ConditionsTest", "OwnQuestionTest"} <= kinds
    assert any(s.criterion.times.wanted > 1 for s in steps)
    assert any(len(s.needs) > 1 for s in steps)


def test_steps_are_in_every_phase_but_lost(example):
    phases = set(example.state().phases().values())
    assert {StepPhase.OPEN, StepPhase.MET, StepPhase.HELD} <= phases


def test_six_weeks_with_days_missed_and_cut_short(example):
    sessions = example.state().sessions.values()
    days = {s.day for s in sessions}
    assert all(s.ended_at for s in sessions)
    assert min(days) >= TODAY - timedelta(days=42)
    assert max(days) < TODAY
    assert 26 <= len(days) <= 40  # of 42: some were missed
    assert any(s.early for s in sessions)
    assert any(s.breaks for s in sessions)
    assert sum(bool(s.note) for s in sessions) > 10
    assert sum(any(s.intentions.values()) for s in sessions) > 10


def test_players_and_tool_have_answered_cold_and_warm(example):
    tries = example.state().tries.values()
    cold = [t for t in tries if t.cold]
    assert {t.answer for t in cold} >= {Answer.YES, Answer.NO}
    assert len(cold) > 30
    assert len(tries) - len(cold) > 100
    assert {t.judge for t in tries} == set(Judge)


def test_all_plans_keep_the_rules(example):
    state = example.state()
    for plan in state.plans.values():
        wished = bool(plan.request.wishes)
        assert [v for v in violations(plan) if v.hard or not wished] == []


def test_today_and_tomorrow_are_planned(example):
    for day in (TODAY, TODAY + timedelta(days=1)):
        plan = example.plans.plan(day)
        assert plan is not None
        assert plan.slots
    kinds = {s.kind for p in example.state().plans.values() for s in p.slots}
    assert kinds == set(SlotKind)


def test_right_take_is_yes(example):
    verdict = take_of(example, recipe(TakeFault.NONE)).verdict
    assert verdict.answer is Answer.YES
    assert {n.status for n in verdict.notes} == {NoteStatus.RIGHT}


def test_wrong_note_is_no_with_that_note(example):
    chosen = recipe(TakeFault.WRONG_NOTE)
    verdict = take_of(example, chosen).verdict
    step = example.pile.step(step_id(chosen.step))
    passage = example.pile.exercise_passage(step)
    wrong = passage.notes[fault_index(schedule(passage, 72), TakeFault.WRONG_NOTE)]
    assert verdict.answer is Answer.NO
    assert [n.id for n in verdict.notes if n.status is not NoteStatus.RIGHT] == [wrong.id]


def test_late_entry_is_no_with_that_note_displaced(example):
    chosen = recipe(TakeFault.LATE_ENTRY)
    verdict = take_of(example, chosen).verdict
    passage = example.pile.exercise_passage(example.pile.step(step_id(chosen.step)))
    late = passage.notes[fault_index(schedule(passage, 84), TakeFault.LATE_ENTRY)]
    assert verdict.answer is Answer.NO
    assert {n.status for n in verdict.notes} == {NoteStatus.RIGHT}
    [found] = [n for n in verdict.notes if n.displaced]
    assert found.id == late.id
    assert found.deviation_ms > 150


def test_slow_take_is_no_by_its_tempo(example):
    verdict = take_of(example, recipe(TakeFault.NONE, slow=True)).verdict
    assert verdict.answer is Answer.NO
    assert [f.name for f in verdict.tests if f.passed is False] == ["tempo"]


def test_drowned_take_cannot_be_told_and_says_why(example):
    take = take_of(example, recipe(TakeFault.NOISE))
    assert take.verdict.answer is Answer.CANNOT_TELL
    assert "noise" in take.verdict.reason
    assert example.state().tries[take.id].judge is Judge.PLAYER  # who answered instead
    assert example.state().tries[take.id].heard is Answer.CANNOT_TELL


def test_sound_of_every_take_is_whole(example):
    takes = example.state().takes
    assert len(takes) == len(RECIPES)
    assert not [i for i in takes if example.takes.damaged(i)]


def test_there_is_something_to_look_back_at_and_ahead(example):
    weeks = example.reports.weeks()
    assert len(weeks) >= 6
    assert sum(len(w.met) for w in weeks) > 15
    assert example.reports.minutes_by_topic()
    assert sum(e.enough for e in example.reports.estimates().values()) > 10


def test_a_log_with_something_in_it_is_left_alone(empty):
    empty.pile.add("Long notes")
    with pytest.raises(RuleError, match="empty folder"):
        demo.build(empty, today=TODAY)
    assert empty.store.last_sequence() == 1


@pytest.mark.parametrize(
    ("opened", "starts"),
    [
        ("08:00", "17:00"),
        ("16:50", "17:00"),
        ("16:51", "17:15"),
        ("18:20", "18:30"),
        ("21:50", "22:00"),
        ("21:51", None),
        ("23:30", None),
    ],
)
def test_nobody_is_late_for_todays_session(opened, starts):
    at = datetime.combine(TODAY, time.fromisoformat(opened))
    start = start_today(at, TODAY, time(17))
    assert start == (time.fromisoformat(starts) if starts else None)
    night = datetime.combine(TODAY + timedelta(days=1), time(1))
    assert start_today(night, TODAY, time(17)) is None


@pytest.mark.parametrize("hour", [8, 19, 23])
def test_what_is_planned_is_still_to_come(tmp_path, monkeypatch, hour):
    monkeypatch.setattr("coldtake.demo.building.DAYS", 1)  # the last day of the story, without
    monkeypatch.setattr("coldtake.demo.takes.RECIPES", ())  # takes, is enough here
    clock = SteppingClock(datetime(2027, 1, 12, hour, 30, tzinfo=timezone(timedelta(hours=1))))
    services = House(SqlStore(sqlite_url(tmp_path)), FolderTakes(tmp_path / "takes"), clock)
    demo.build(services, today=TODAY)
    coming = [services.plans.plan(TODAY + timedelta(days=n)) for n in (0, 1)]
    assert coming[1] is not None
    assert (coming[0] is None) is (hour == 23)
    now = clock.now().replace(tzinfo=None)
    for plan in filter(None, coming):
        assert datetime.combine(plan.request.day, plan.request.starts_at) > now
    services.close()


class Impatient:
    """Begins an own pile while the example is being told."""

    def __init__(self, services: House) -> None:
        self.services = services

    def step(self, done: int, total: int, _words: str) -> bool:
        if done == total - 1:
            self.services.pile.add("My own")
        return True


def test_a_pile_begun_meanwhile_is_left_alone(empty, monkeypatch):
    monkeypatch.setattr("coldtake.demo.building.DAYS", 1)  # the last day of the story, without
    monkeypatch.setattr("coldtake.demo.takes.RECIPES", ())  # takes, is enough here
    with pytest.raises(RuleError, match="empty folder"):
        demo.build(empty, today=TODAY, progress=Impatient(empty))
    assert [t.title for t in empty.state().topics.values()] == ["My own"]


def test_stopping_leaves_nothing(empty):
    demo.build(empty, today=TODAY, progress=Stopper(2))
    assert empty.is_empty()
    assert not list(empty.take_files._folder.iterdir())


def test_the_concert_has_a_programme_and_two_run_throughs(example):
    [concert] = example.performances.upcoming()
    titles = [example.state().topics[t].title for t in concert.programme]
    assert (concert.on, len(titles)) == (CONCERT, 2)
    runs = example.performances.runs(concert.id)
    assert len(runs) == 2
    assert all(run.told and run.intention and run.minutes > 5 for run in runs)
    assert all(len(run.parts) == 2 for run in runs)
    assert any(part.broke for run in runs for part in run.parts)
    assert not example.performances.effect().enough, "two run-throughs are not enough"
    assert example.performances.readiness(concert.id).on == CONCERT
