"""The evening before: what is asked is checked, a plan is an event only when it changed."""

from datetime import date, time, timedelta

import msgspec
import pytest

from coldtake.domain import events as ev
from coldtake.domain.plan import PlanRequest, SlotKind, Wish, violations
from coldtake.domain.topic import Place
from coldtake.errors import NotFoundError, PlanError
from making import step


def plans_kept(services) -> int:
    return sum(isinstance(e.data, ev.PlanKept) for _, e in services.store.events())


@pytest.fixture
def laid_out(services):
    """Two current topics of two steps each."""
    steps = []
    for title in ("Scales", "Tune"):
        topic = services.pile.add(title)
        services.pile.place(topic.id, Place.CURRENT)
        for n in range(2):
            made = msgspec.structs.replace(step(f"{title} {n}"), topic_id=topic.id)
            steps.append(services.pile.keep_step(made))
    return steps


def test_the_usual_request_comes_from_the_settings(services):
    services.settings.choose("session_minutes", "45")
    services.settings.choose("starts_at_hour", "19")
    tomorrow = services.plans.tomorrow()
    assert tomorrow == services.today() + timedelta(days=1)
    assert services.plans.default_request(tomorrow) == PlanRequest(
        day=tomorrow, starts_at=time(19), minutes=45
    )


@pytest.mark.parametrize(
    ("now", "starts_at"),
    [((16, 0), (17, 0)), ((17, 1), (17, 5)), ((17, 5), (17, 10)), ((23, 58), (0, 0))],
)
def test_today_does_not_start_before_now(services, clock, now, starts_at):
    clock.instant = clock.instant.replace(hour=now[0], minute=now[1])
    assert services.plans.default_request(services.today()).starts_at == time(*starts_at)


def test_after_midnight_tomorrow_is_the_day_that_has_just_begun(services, clock):
    clock.instant = clock.instant.replace(hour=1)
    assert services.plans.tomorrow() == clock.instant.date()


def test_a_proposed_plan_is_kept_and_found_again(services, laid_out):
    day = services.plans.tomorrow()
    assert services.plans.plan(day) is None
    plan = services.plans.propose(services.plans.default_request(day))
    assert {s.step_id for s in plan.slots} <= {s.id for s in laid_out}
    assert plan.slots
    assert violations(plan) == ()
    assert services.plans.plan(day) == plan


def test_the_same_plan_is_not_kept_twice(services, laid_out):
    request = services.plans.default_request(services.plans.tomorrow())
    assert services.plans.propose(request) == services.plans.propose(request)
    assert plans_kept(services) == 1
    services.plans.propose(msgspec.structs.replace(request, minutes=25))
    assert plans_kept(services) == 2


def test_a_change_is_solved_again_around_the_wish(services, laid_out):
    day = services.plans.tomorrow()
    plan = services.plans.propose(services.plans.default_request(day))
    out, kept = laid_out[0], laid_out[1]
    wishes = (
        Wish(step_id=out.id, kind=SlotKind.WORK, refused=True),
        Wish(step_id=kept.id, minutes=7),
    )
    changed = services.plans.change(day, msgspec.structs.replace(plan.request, wishes=wishes))
    slots = [(s.step_id, s.minutes) for s in changed.slots if s.kind is SlotKind.WORK]
    assert out.id not in dict(slots)
    assert (kept.id, 7) in slots
    assert services.plans.plan(day) == changed


def test_an_empty_pile_gives_a_remark_and_keeps_nothing(services):
    plan = services.plans.propose(services.plans.default_request(services.plans.tomorrow()))
    assert plan.slots == ()
    assert plan.remarks
    assert plans_kept(services) == 0
    with pytest.raises(PlanError, match="nothing to plan yet"):
        services.sessions.start()


@pytest.mark.parametrize("minutes", [-5, 0, 4, 721])
def test_minutes_that_cannot_be_planned(services, laid_out, minutes):
    request = services.plans.default_request(services.plans.tomorrow())
    with pytest.raises(PlanError, match=f"{minutes} min cannot be planned") as told:
        services.plans.propose(msgspec.structs.replace(request, minutes=minutes))
    assert "5 to 720" in told.value.remedy
    assert plans_kept(services) == 0


def test_a_day_in_the_past(services, laid_out):
    day = services.today() - timedelta(days=1)
    with pytest.raises(PlanError, match=f"{day} is past; today is {services.today()}"):
        services.plans.propose(services.plans.default_request(day))


def test_a_wish_for_a_step_that_is_not_there(services, laid_out):
    request = services.plans.default_request(services.plans.tomorrow())
    wish = msgspec.structs.replace(request, wishes=(Wish(step_id="gone"),))
    with pytest.raises(NotFoundError, match="step was not found"):
        services.plans.propose(wish)


def test_no_calendar_without_a_plan(services):
    with pytest.raises(NotFoundError, match="no plan for 2030-01-01"):
        services.plans.calendar(date(2030, 1, 1))
