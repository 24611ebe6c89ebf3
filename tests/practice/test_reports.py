"""Looking back: steps met, held and slipped by ISO week (ISO 8601), minutes by topic."""

from datetime import date, timedelta

import msgspec
import pytest

from coldtake.domain import events as ev
from coldtake.domain.take import Answer, Judge
from coldtake.domain.topic import Place
from making import DAY, NOON, step


@pytest.fixture
def laid_out(services):
    steps = []
    for title in ("Scales", "Tune"):
        topic = services.pile.add(title)
        services.pile.place(topic.id, Place.CURRENT)
        made = msgspec.structs.replace(step(title), topic_id=topic.id)
        steps.append(services.pile.keep_step(made))
    return steps


def answer(services, of, day: int, said: str) -> None:
    data = ev.TryAnswered(
        try_id=f"{of.id} {day}", step_id=of.id, answer=Answer(said), judge=Judge.PLAYER
    )
    at = NOON + timedelta(days=day)
    services.append(data, at=at, day=at.date())


def worked(services, of, day: int, minutes: float) -> None:
    data = ev.SlotEnded(
        session_id="s", slot_id=f"{day}", step_id=of.id, played_s=minutes * 60, early=False
    )
    at = NOON + timedelta(days=day, hours=1)
    services.append(data, at=at, day=at.date())


def test_an_empty_log_has_no_weeks(services):
    assert services.reports.weeks() == ()
    assert services.reports.minutes_by_topic() == {}


def test_weeks_without_gaps(services, laid_out, clock):
    """Tuesday 2027-01-12 is in week 2; the year begins with week 53 of 2026 (ISO 8601)."""
    one, two = laid_out
    assert date(2027, 1, 12) == DAY
    for day, said in [(-11, "no"), (-10, "yes"), (0, "yes"), (20, "yes"), (27, "no")]:
        answer(services, one, day, said)
    answer(services, two, 0, "yes")
    worked(services, one, 0, 12.5)
    worked(services, two, 1, 10)
    clock.go_on(days=28)
    weeks = services.reports.weeks()
    found = {w.name: (w.met, w.held, w.slipped, w.minutes) for w in weeks}
    none = ((), (), (), 0)
    assert found == {
        "2026-W53": ((one.id,), (), (), 0),
        "2027-W01": none,
        "2027-W02": ((two.id,), (), (), 22.5),
        "2027-W03": none,
        "2027-W04": none,
        "2027-W05": ((), (one.id,), (), 0),
        "2027-W06": ((), (), (one.id,), 0),
    }
    assert [w.monday.isoweekday() for w in weeks] == [1] * 7
    assert services.reports.weeks(most=2) == weeks[-2:]


def test_sessions_are_counted(services, laid_out):
    services.sessions.start()
    assert [w.sessions for w in services.reports.weeks()] == [1]


def test_minutes_by_topic_between_days(services, laid_out):
    one, two = laid_out
    worked(services, one, 0, 10)
    worked(services, two, 1, 20)
    worked(services, one, 2, 5)
    by_topic = services.reports.minutes_by_topic
    assert list(by_topic().items()) == [(two.topic_id, 20), (one.topic_id, 15)]
    assert by_topic(since=DAY + timedelta(days=1)) == {two.topic_id: 20, one.topic_id: 5}
    assert by_topic(until=DAY) == {one.topic_id: 10}
    assert by_topic(since=DAY + timedelta(days=3)) == {}


def test_minutes_of_a_dropped_step_do_not_break_the_page(services, laid_out):
    worked(services, laid_out[0], 0, 10)
    services.pile.drop_step(laid_out[0].id)
    assert services.reports.minutes_by_topic() == {}
    assert services.reports.weeks()[0].minutes == 10


def test_estimates_and_outlook_are_there_for_every_step(services, laid_out):
    assert set(services.reports.estimates()) == {s.id for s in laid_out}
    outlooks = services.reports.outlook()
    assert {o.topic_id for o in outlooks} == {s.topic_id for s in laid_out}
    assert not any(o.enough for o in outlooks)  # nothing was played yet, and it says so


def test_the_outlook_is_kept_until_something_happens(services, laid_out):
    first = services.reports.outlook()
    assert services.reports.outlook() is first
    assert services.reports.outlook(minutes_per_day=30.0) is not first
    assert services.reports.outlook() is first
    services.pile.add("One more")
    assert services.reports.outlook() is not first
