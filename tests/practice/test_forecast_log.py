"""What is said of the future is kept when it is said, once, and before it is known."""

from datetime import timedelta

import msgspec
import pytest

from coldtake.domain import events as ev
from coldtake.domain.take import Answer, Judge
from coldtake.domain.topic import Place
from making import step


@pytest.fixture
def known_step(services, clock):
    """One step tried cold and worked on every third day for a month; now it is the evening."""
    topic = services.pile.add("Scales")
    services.pile.place(topic.id, Place.CURRENT)
    made = services.pile.keep_step(msgspec.structs.replace(step("slow"), topic_id=topic.id))
    for _ in range(10):
        tried(services, made.id)
        services.append(ev.SlotEnded(session_id="s", slot_id="x", step_id=made.id, played_s=600.0))
        clock.go_on(days=3)
    return made


def tried(services, step_id):
    services.append(
        ev.TryAnswered(
            try_id=services.log.new_id(), step_id=step_id, answer=Answer.YES, judge=Judge.PLAYER
        )
    )


def told(services, kind):
    return [e.data for _, e in services.store.events() if isinstance(e.data, kind)]


def proposed(services, **changed):
    request = services.plans.default_request(services.plans.tomorrow())
    return services.plans.propose(msgspec.structs.replace(request, **changed))


def test_a_plan_says_the_chance_of_a_cold_take_of_its_steps(services, known_step):
    plan = proposed(services)
    assert known_step.id in {s.step_id for s in plan.slots}
    [said] = told(services, ev.ChancesSaid)
    estimate = services.reports.estimate(known_step.id, plan.request.day)
    assert said.for_day == plan.request.day
    assert [(c.step_id, c.chance) for c in said.chances] == [
        (known_step.id, pytest.approx(estimate.clean_cold.mid, abs=5e-4))
    ]


def test_a_change_of_the_plan_says_it_no_second_time(services, known_step):
    proposed(services)
    proposed(services, minutes=25)
    assert len(told(services, ev.PlanKept)) == 2
    assert len(told(services, ev.ChancesSaid)) == 1


def test_what_was_learnt_since_is_said_anew(services, known_step, clock):
    proposed(services)
    clock.go_on(minutes=5)
    tried(services, known_step.id)
    services.append(
        ev.SlotEnded(session_id="s", slot_id="x", step_id=known_step.id, played_s=900.0)
    )
    proposed(services, minutes=25)
    assert len(told(services, ev.ChancesSaid)) == 2
    day = services.plans.tomorrow()
    assert services.state().said[day].chances == told(services, ev.ChancesSaid)[1].chances


def test_nothing_is_said_of_a_step_that_was_played_that_day(services, known_step):
    tried(services, known_step.id)
    request = services.plans.default_request(services.today())
    services.plans.propose(request)
    assert told(services, ev.ChancesSaid) == []


def test_nothing_is_said_where_too_little_is_known(services):
    topic = services.pile.add("Scales")
    services.pile.place(topic.id, Place.CURRENT)
    services.pile.keep_step(msgspec.structs.replace(step("slow"), topic_id=topic.id))
    assert proposed(services).slots
    assert services.reports.outlook()
    assert told(services, ev.ChancesSaid) == told(services, ev.OutlookSaid) == []


def test_the_outlook_is_kept_once_a_week(services, known_step, clock):
    services.reports.outlook(minutes_per_day=30.0)  # a question of "if" is no forecast
    assert told(services, ev.OutlookSaid) == []
    first = services.reports.outlook()
    assert services.reports.outlook() is first  # its own entry made nothing of it stale
    for _ in range(8):
        clock.go_on(days=1)
        services.reports.outlook()
    said = told(services, ev.OutlookSaid)
    assert len(said) == 2
    [topic] = said[0].topics
    assert topic.clean_steps == first[0].clean_steps
    assert [c.step_id for c in topic.steps] == [known_step.id]
    days = sorted(services.state().outlooks)
    assert days[1] - days[0] == timedelta(days=7)


def test_somebody_who_never_looks_ahead_has_something_to_look_back_at(services, known_step, clock):
    services.reports.say_when_due()
    services.reports.say_when_due()
    assert len(told(services, ev.OutlookSaid)) == 1
    clock.go_on(days=7)
    services.reports.say_when_due()
    assert len(told(services, ev.OutlookSaid)) == 2
