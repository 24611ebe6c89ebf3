"""Several sessions a day: none takes another's place, and a cold take is the first of the DAY."""

from datetime import date, datetime, time, timedelta

import msgspec
import pytest

from coldtake.domain import events as ev
from coldtake.domain.plan import SlotKind, violations
from coldtake.domain.take import Answer, Judge
from coldtake.domain.topic import Place
from coldtake.errors import PlanError
from coldtake.planning.day.load import long_day
from making import step


@pytest.fixture
def laid_out(services):
    """Three current topics of four steps each."""
    steps = []
    for title in ("Scales", "Tune", "Study"):
        topic = services.pile.add(title)
        services.pile.place(topic.id, Place.CURRENT)
        for n in range(4):
            made = msgspec.structs.replace(step(f"{title} {n}"), topic_id=topic.id)
            steps.append(services.pile.keep_step(made))
    return steps


def asked(services, day, start, minutes, session=1):
    request = services.plans.default_request(day, session)
    return msgspec.structs.replace(request, starts_at=start, starts_on=None, minutes=minutes)


def play(services, plan, answer=Answer.YES):
    """Play a session as planned, each slot answered once."""
    run = services.sessions.start(plan.request.day)
    assert run.plan == plan
    for slot in plan.slots:
        ids = {"session_id": run.id, "slot_id": slot.id, "step_id": slot.step_id}
        services.append(ev.SlotStarted(**ids, planned_s=60.0 * slot.minutes))
        services.append(
            ev.TryAnswered(try_id=services.log.new_id(), **ids, answer=answer, judge=Judge.PLAYER),
            ev.SlotEnded(**ids, played_s=60.0 * slot.minutes),
        )
    services.append(ev.SessionEnded(session_id=run.id))
    return run


def test_a_morning_beside_the_afternoon(services, laid_out):
    day = services.plans.tomorrow()
    late = services.plans.propose(asked(services, day, time(17), 60))
    number = services.plans.new_session(day)
    early = services.plans.propose(asked(services, day, time(8), 25, number))
    assert services.plans.plans(day) == (early, services.plans.plan(day, 1))
    assert services.plans.plan(day, 1).request == late.request
    assert services.plans.plan(day) == early
    again = services.plans.plan(day, 1)  # solved anew: the morning plays before it
    assert again.slots != late.slots
    assert not {s.id for s in early.slots} & {s.id for s in again.slots}


def test_sessions_that_would_overlap_are_refused_and_both_stay(services, laid_out):
    day = services.plans.tomorrow()
    first = services.plans.propose(asked(services, day, time(17), 60))
    with pytest.raises(PlanError, match=r"16:30 to 17:30 overlaps the session from 17:00 to") as no:
        services.plans.propose(asked(services, day, time(16, 30), 60, 2))
    assert no.value.where == "start"
    assert services.plans.plans(day) == (first,)
    moved = services.plans.propose(asked(services, day, time(16, 30), 60, 1))  # its own hours
    assert services.plans.plans(day) == (moved,)


def test_the_proposed_start_keeps_clear_and_the_minutes_are_what_is_left(services, laid_out):
    day = services.plans.tomorrow()
    services.plans.propose(asked(services, day, time(17), 30))
    request = services.plans.default_request(day, services.plans.new_session(day))
    assert (request.starts_at, request.minutes, request.session) == (time(17, 35), 30, 2)
    services.plans.propose(request)
    assert services.plans.default_request(day, 3).minutes == 25


def test_the_session_whose_turn_it_is(services, clock, laid_out):
    today = services.today()
    clock.instant = clock.instant.replace(hour=7)
    early = services.plans.propose(asked(services, today, time(8), 25))
    services.plans.propose(asked(services, today, time(17), 40, 2))
    assert services.plans.plan(today) == early
    clock.instant = clock.instant.replace(hour=16)
    assert services.plans.plan(today).request.session == 2
    clock.instant = clock.instant.replace(hour=8)
    play(services, early)
    assert services.plans.plan(today).request.session == 2
    assert services.plans.is_over(services.plans.plan(today, 1))


def test_a_second_session_at_once_knows_the_first(services, clock, laid_out):
    today = services.today()
    first = services.plans.propose(asked(services, today, time(17), 60))
    clock.instant = clock.instant.replace(hour=17)
    play(services, first)
    clock.go_on(hours=1)
    run = services.sessions.start()
    assert run.plan.request.session == 2
    assert run.plan.request.starts_at > time(18)
    played = {s.step_id for s in first.slots}
    for slot in run.plan.slots:
        if slot.step_id in played:
            assert slot.kind is SlotKind.WORK
            assert not slot.begins_cold
    assert violations(run.plan) == ()
    assert services.plans.plan(today, 1) == first


def test_no_cold_take_is_asked_of_what_the_morning_will_play(services, clock, laid_out):
    """Days later all is met and due: the morning asks, the evening does not ask again."""
    first = services.plans.propose(asked(services, services.today(), time(17), 90))
    play(services, first)
    services.settings.choose("keep_chance", "95")
    clock.go_on(days=6)
    day = services.plans.tomorrow()
    early = services.plans.propose(asked(services, day, time(8), 30))
    late = services.plans.propose(asked(services, day, time(17), 30, 2))
    asked_early = {s.step_id for s in early.slots if s.kind is SlotKind.COLD or s.begins_cold}
    played = {s.step_id for s in early.slots}
    assert asked_early
    assert not {s.step_id for s in late.slots if s.kind is SlotKind.COLD or s.begins_cold} & played


def test_a_morning_that_was_not_played_counts_for_nothing(services, clock, laid_out):
    today = services.today()
    clock.instant = clock.instant.replace(hour=7)
    alone = services.plans.propose(asked(services, today, time(17), 40, 2))
    services.plans.propose(asked(services, today, time(8), 40))
    assert services.plans.plan(today, 2).slots != alone.slots
    clock.instant = clock.instant.replace(hour=16)
    again = services.plans.propose(asked(services, today, time(17), 40, 2))
    assert again.slots == alone.slots


def test_ten_hours_are_parted_by_meals_and_a_word(services, laid_out):
    day = services.plans.tomorrow()
    services.plans.propose(asked(services, day, time(8), 600))
    plans = services.plans.plans(day)
    assert [p.request.starts for p in plans] == [
        datetime.combine(day, t) for t in (time(8), time(11, 40), time(15, 20))
    ]
    assert {p.request.minutes for p in plans} == {160}
    ends = plans[-1].request.starts + timedelta(minutes=160)
    assert (ends - plans[0].request.starts) == timedelta(minutes=600)
    assert "a lot" in long_day(plans)
    assert "doctor" in long_day(plans)
    assert long_day(plans[:1]) is None


def test_a_long_day_made_shorter_leaves_no_part_behind(services, laid_out):
    day = services.plans.tomorrow()
    services.plans.propose(asked(services, day, time(8), 600))
    services.plans.propose(asked(services, day, time(8), 300))
    assert [p.request.minutes for p in services.plans.plans(day)] == [120, 120]
    services.plans.propose(asked(services, day, time(8), 60))
    assert [p.request.session for p in services.plans.plans(day)] == [1]


def test_ten_minutes(services, laid_out):
    plan = services.plans.propose(asked(services, services.plans.tomorrow(), time(8), 10))
    assert 8 <= plan.minutes <= 10
    assert len(plan.periods) == 1
    assert violations(plan) == ()


def test_a_session_is_deleted_and_what_was_played_stays(services, clock, laid_out):
    today = services.today()
    first = services.plans.propose(asked(services, today, time(17), 20))
    play(services, first)
    second = services.plans.propose(asked(services, today, time(20), 20, 2))
    services.plans.delete(today, 2)
    assert services.plans.plans(today) == (first,)
    services.plans.delete(today, 1)
    assert services.plans.plans(today) == ()
    assert services.state().minutes_on[today] > 0
    assert services.plans.new_session(today) == 2  # the number of a session that was played stays
    assert second.request.session == 2


def test_plans_of_a_day_survive_a_new_start(services, open_again, laid_out):
    day = services.plans.tomorrow()
    services.plans.propose(asked(services, day, time(17), 60))
    services.plans.propose(asked(services, day, time(8), 25, 2))
    assert open_again().plans.plans(day) == services.plans.plans(day)


def test_an_old_log_s_plan_is_its_day_s_first_session():
    text = (
        '{"id":"e","at":"2027-01-11T20:00:00Z","day":"2027-01-11","data":{"kind":"plan_kept","plan":'
        '{"id":"p","request":{"day":"2027-01-12","starts_at":"17:00:00","minutes":60},"rules":{},'
        '"periods":[]}}}'
    )
    data = ev.from_json(text).data
    assert data.plan.request.session == 1
    assert data.plan.request.day == date(2027, 1, 12)
