"""Performances, run-throughs, and what they leave in the log."""

from datetime import date, timedelta

import msgspec
import pytest

from coldtake.domain import events as ev
from coldtake.domain.history.projection import fold
from coldtake.domain.performance import Performance, RunKind, RunPart
from coldtake.domain.take import Answer, Judge
from coldtake.domain.topic import Place, StepPhase
from coldtake.errors import NotFoundError, RuleError
from making import step

YES, NO, OPEN = Answer.YES, Answer.NO, Answer.CANNOT_TELL


@pytest.fixture
def pieces(services):
    """Two pieces with two steps each."""
    made = []
    for name in ("aria", "dance"):
        topic = services.pile.add(name, place=Place.CURRENT)
        for n in (1, 2):
            one = step(f"{name} {n}", of=name)
            services.pile.keep_step(
                type(one)(id=one.id, topic_id=topic.id, title=one.title, criterion=one.criterion)
            )
        made.append(topic)
    return made


@pytest.fixture
def concert(services, pieces):
    on = services.today() + timedelta(days=10)
    return services.performances.add("Concert", on, programme=tuple(t.id for t in pieces))


def steps_of(services, topic):
    return services.state().topic_steps(topic.id)


def parts(pieces, *answers, broke=()):
    return [
        RunPart(topic_id=t.id, answer=a, broke=tuple(broke) if a is NO else ())
        for t, a in zip(pieces, answers, strict=True)
    ]


def test_a_performance_is_kept_changed_taken_back_and_put_back(services, concert, pieces):
    doors = services.performances
    swapped = doors.order(concert.id, [pieces[1].id, pieces[0].id])
    assert doors.get(concert.id).programme == (pieces[1].id, pieces[0].id)
    before = services.store.last_sequence()
    doors.keep(swapped)
    assert services.store.last_sequence() == before, "nothing changed, nothing said"
    doors.take_back(concert.id)
    assert doors.upcoming() == ()
    with pytest.raises(NotFoundError):
        doors.get(concert.id)
    assert doors.put_back(concert.id) == swapped
    assert doors.upcoming() == (swapped,)


CANNOT_BE = {
    "no name": ({"title": " "}, "name is empty"),
    "a past day": ({"on": date(2020, 1, 1)}, "is past"),
    "twice": ({"programme": ("aria", "aria")}, "twice"),
    "nobody's": ({"programme": ("nobody",)}, "topic was not found"),
    "long": ({"place": "x" * 201}, "at most 200"),
    "many": ({"programme": tuple(str(n) for n in range(41))}, "at most 40"),
}


@pytest.mark.parametrize("name", CANNOT_BE)
def test_what_cannot_be_is_said_and_nothing_is_kept(services, concert, name):
    change, says = CANNOT_BE[name]
    before = services.store.last_sequence()
    with pytest.raises((RuleError, NotFoundError), match=says):
        services.performances.keep(msgspec.structs.replace(concert, **change))
    assert services.store.last_sequence() == before


def test_a_topic_takes_the_nearest_date(services, concert, pieces):
    aria, today = pieces[0], services.today()
    state = services.state()
    assert state.topic_date(aria.id, today) == concert.on
    nearer = services.performances.add(
        "House music", today + timedelta(days=4), programme=(aria.id,)
    )
    state = services.state()
    assert state.topic_date(aria.id, today) == nearer.on
    assert state.topic_date(aria.id, nearer.on + timedelta(days=1)) == concert.on
    assert state.topic_date(pieces[1].id, today) == concert.on
    services.pile.keep_topic(
        type(aria)(id=aria.id, title="aria", performance_on=today + timedelta(days=2))
    )
    state = services.state()
    assert state.topic_date(aria.id, today) == today + timedelta(days=2)
    assert state.topic_date(aria.id, today + timedelta(days=99)) == today + timedelta(days=2)
    assert state.topic_date("nobody", today) is None


def test_a_run_through_tells_each_step_once_and_counts_its_minutes(services, concert, pieces):
    broke = steps_of(services, pieces[1])[0]
    run = services.performances.begin(
        concert.programme, performance_id=concert.id, intention=" Play  on. "
    )
    assert (run.intention, run.told, run.kind) == ("Play on.", False, RunKind.RUN_THROUGH)
    services.performances.tell(
        run.id, parts(pieces, YES, NO, broke=[broke.id]), played_s=480.0, words="fine"
    )
    state = services.state()
    said = {
        s.id: [t.clean for t in state.past(s.id).stage]
        for t in pieces
        for s in state.topic_steps(t.id)
    }
    assert list(said.values()) == [[True], [True], [False], [True]]
    assert state.minutes_on[services.today()] == pytest.approx(8.0)
    assert state.try_count == 0, "evidence of its own kind, no try"
    assert all(not state.past(i).tries for i in said)
    assert all(state.touched(i, services.today()) for i in said)


def test_a_piece_that_came_out_whole_brings_its_steps(services, clock, concert, pieces):
    """Two run-throughs and the stage: the steps are met, not "0 of 2 steps met"."""
    topic, runs = pieces[0], []
    steps = steps_of(services, topic)
    before = services.reports.estimate(steps[0].id)
    for _ in range(2):
        run = services.performances.begin([topic.id])
        services.performances.tell(run.id, parts([topic], YES), played_s=300)
        runs.append(run)
        clock.go_on(days=3)
    state = services.state()
    assert {state.phase(s.id) for s in steps} == {StepPhase.MET}
    assert [(t.answer, t.run_id) for t in state.step_tries(steps[0].id)] == [
        (YES, run.id) for run in runs
    ]
    after = services.reports.estimate(steps[0].id)
    assert before.clean_cold.mid + 0.1 < after.clean_cold.mid
    for run in runs:
        services.performances.take_back_run(run.id)
    assert services.state().phase(steps[0].id) is StepPhase.OPEN


def test_where_a_run_broke_no_met_step_slips_but_its_chance_falls(services, clock, pieces):
    topic = pieces[0]
    one, other = steps_of(services, topic)
    for step_id in (one.id, other.id):
        for name in "ab":
            services.append(
                ev.TryAnswered(
                    try_id=f"{step_id} {name}", step_id=step_id, answer=YES, judge=Judge.PLAYER
                )
            )
    clock.go_on(days=1)
    run = services.performances.begin([topic.id])
    services.performances.tell(run.id, parts([topic], NO, broke=[one.id]), played_s=300)
    assert services.state().phase(one.id) is StepPhase.MET
    chances = [services.reports.estimate(s.id).clean_cold.mid for s in (one, other)]
    assert chances[0] + 0.05 < chances[1]


def test_after_a_run_through_nothing_is_cold_that_day(services, concert, pieces):
    run = services.performances.begin([pieces[0].id])
    services.performances.tell(run.id, parts(pieces[:1], YES), played_s=60)
    one = steps_of(services, pieces[0])[0]
    services.append(ev.TryAnswered(try_id="t", step_id=one.id, answer=YES, judge=Judge.PLAYER))
    assert not services.state().tries["t"].cold


def test_told_again_replaces_and_taken_back_leaves_nothing(services, concert, pieces):
    run = services.performances.begin(concert.programme, performance_id=concert.id)
    empty = services.state()
    services.performances.tell(run.id, parts(pieces, NO, NO), played_s=600)
    services.performances.tell(run.id, parts(pieces, YES, OPEN), played_s=300)
    state = services.state()
    assert [p.answer for p in state.runs[run.id].parts] == [YES, OPEN]
    assert state.minutes_on[services.today()] == pytest.approx(5.0)
    first, second = (steps_of(services, t)[0].id for t in pieces)
    assert [t.clean for t in state.past(first).stage] == [True]
    assert state.past(second).stage == ()
    services.performances.take_back_run(run.id)
    state = services.state()
    assert state.runs == {}
    assert state.minutes_on == empty.minutes_on
    assert state.past(first).stage == state.past(first).works == ()
    assert state == fold(event for _, event in services.store.events())


def unfit(pieces, own):
    """Answers that do not fit a programme of two pieces; `own` is a step of the first."""
    rest = parts(pieces[1:], YES)
    first = pieces[0].id
    return {
        "Each piece": parts(pieces[:1], YES),
        "Each piece of": [*parts(pieces, YES, YES), *parts(pieces[:1], NO)],
        "one answer": [],
        "not a step": [RunPart(topic_id=first, answer=NO, broke=("x",)), *rest],
        "not no": [RunPart(topic_id=first, answer=YES, broke=(own,)), *rest],
    }


def test_answers_that_do_not_fit_are_refused_whole(services, concert, pieces):
    run = services.performances.begin(concert.programme)
    before = services.store.last_sequence()
    for says, said in unfit(pieces, steps_of(services, pieces[0])[0].id).items():
        with pytest.raises(RuleError, match=says):
            services.performances.tell(run.id, said)
    with pytest.raises(RuleError, match="too long for one run-through"):
        services.performances.tell(run.id, parts(pieces, YES, YES), played_s=1e6)
    assert services.store.last_sequence() == before


def test_the_performance_is_told_once_and_can_be_put_right(services, clock, concert, pieces):
    doors = services.performances
    with pytest.raises(RuleError, match="on that day or later"):
        doors.tell_stage(concert.id, parts(pieces, YES, YES))
    clock.go_on(days=12)
    assert doors.to_tell() == (concert,)
    doors.tell_stage(concert.id, parts(pieces, YES, NO))
    doors.tell_stage(concert.id, parts(pieces, NO, NO), words="cold hall")
    told = doors.stage_run(concert.id)
    assert (told.day, told.words, [p.answer for p in told.parts]) == (
        concert.on,
        "cold hall",
        [NO, NO],
    )
    assert len(services.state().runs) == 1
    assert doors.to_tell() == ()
    assert (doors.past(), doors.upcoming()) == ((concert,), ())
    doors.take_back_run(told.id)
    assert doors.stage_run(concert.id) is None
    doors.tell_stage(concert.id, parts(pieces, YES, YES))
    assert doors.stage_run(concert.id) is not None, "told anew after it was taken back"


def test_nothing_to_run_through(services, concert):
    with pytest.raises(RuleError, match="has no pieces yet"):
        services.performances.begin(())
    with pytest.raises(NotFoundError, match="performance was not found"):
        services.performances.begin(concert.programme, performance_id="x")
    with pytest.raises(NotFoundError, match="run-through was not found"):
        services.performances.take_back_run("x")
    assert isinstance(concert, Performance)


def test_a_performance_that_was_told_of_is_over_on_its_own_day(services, pieces):
    """It stayed ahead until midnight, and the plan went on working for it."""
    today, doors = services.today(), services.performances
    programme = tuple(t.id for t in pieces)
    concert = doors.add("Concert", today, programme=programme)
    doors.add("Recital", today + timedelta(days=6), programme=programme[:1])
    assert services.state().topic_date(pieces[0].id, today) == today
    doors.tell_stage(concert.id, parts(pieces, YES, NO))
    state = services.state()
    assert [p.title for p in doors.upcoming()] == ["Recital"]
    assert [p.title for p in doors.past()] == ["Concert"]
    assert state.topic_date(pieces[0].id, today) == today + timedelta(days=6)
    assert state.topic_date(pieces[1].id, today) is None
    doors.take_back_run(doors.stage_run(concert.id).id)
    assert services.state().topic_date(pieces[1].id, today) == today


def test_its_topic_s_own_date_of_that_day_is_over_too(services, pieces):
    today, doors = services.today(), services.performances
    services.pile.keep_topic(msgspec.structs.replace(pieces[0], performance_on=today))
    concert = doors.add("Concert", today, programme=(pieces[0].id,))
    doors.tell_stage(concert.id, parts(pieces[:1], YES))
    assert services.state().topic_date(pieces[0].id, today) is None
