"""Practice away from the tool: minutes, day and answer, and what they change."""

from datetime import date, timedelta

import pytest

from coldtake.domain.take import Answer, Judge
from coldtake.domain.topic import Place
from coldtake.errors import NotFoundError, RuleError
from making import step


@pytest.fixture
def bars(services):
    topic = services.pile.add("Air", place=Place.CURRENT)
    one = step("bars", of="air")
    made = type(one)(id=one.id, topic_id=topic.id, title=one.title, criterion=one.criterion)
    return services.pile.keep_step(made)


def test_minutes_and_answer_count_on_their_day(services, bars):
    day = services.today() - timedelta(days=2)
    services.elsewhere.keep(bars.id, 20, day, Answer.YES)
    state = services.state()
    [tried] = state.step_tries(bars.id)
    assert (tried.day, tried.answer, tried.judge) == (day, Answer.YES, Judge.PLAYER)
    assert not tried.cold, "twenty minutes of work came before it"
    assert state.minutes_on == {day: 20.0}
    assert state.minutes_of[bars.id] == 20.0
    assert services.sessions.running() is None


def test_minutes_alone_are_work_without_a_try(services, bars):
    services.elsewhere.keep(bars.id, 5, services.today())
    assert services.state().minutes_of[bars.id] == 5.0
    assert services.state().step_tries(bars.id) == ()


def test_a_later_first_try_of_that_day_is_not_cold(services, bars):
    services.elsewhere.keep(bars.id, 5, services.today())
    assert services.state().touched_since(bars.id, services.today())


@pytest.mark.parametrize(
    ("minutes", "days", "words"),
    [(0, 0, "0 minutes"), (601, 0, "601 minutes"), (5, 1, "cannot be the day")],
)
def test_what_cannot_be_is_refused_and_nothing_is_kept(services, bars, minutes, days, words):
    before = services.store.last_sequence()
    with pytest.raises(RuleError, match=words):
        services.elsewhere.keep(bars.id, minutes, services.today() + timedelta(days=days))
    with pytest.raises(RuleError):
        services.elsewhere.keep(bars.id, 5, date.min)
    with pytest.raises(NotFoundError):
        services.elsewhere.keep("none", 5, services.today())
    assert services.store.last_sequence() == before


def test_the_archive_restores_it(services, bars, tmp_path):
    """It is made of events that every version reads."""
    services.elsewhere.keep(bars.id, 20, services.today(), Answer.NO)
    kinds = [type(e.data).__name__ for _, e in services.store.events()]
    assert kinds[-2:] == ["SlotEnded", "TryAnswered"]
