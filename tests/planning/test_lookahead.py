from datetime import timedelta

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldtake.domain.topic import Place
from coldtake.planning.value.lookahead import day_values
from coldtake.planning.value.minutes_ahead import minutes_per_day
from coldtake.planning.value.value_of_information import posteriors_by_answer
from logs import DAY, Log


def on(days):
    return DAY + timedelta(days=days)


def by_step(log, day, **more):
    return {v.step_id: v for v in day_values(log.state, on(day), **more)}


def test_an_empty_pile_has_no_values():
    assert day_values(Log().state, DAY) == ()


@settings(max_examples=12, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 9), st.integers(1, 12), st.booleans()), max_size=5),
    st.integers(2, 100),
    st.integers(4, 24),
)
def test_more_minutes_never_lower_the_value(days, date_in, slot_most):
    log, day = Log().topic("a", 2, on=on(150)).topic("b", 2), 0
    for gap, minutes, yes in days:
        day += gap
        log.answer("a.0", yes, day).work("a.0", minutes, day)
    for value in day_values(log.state, on(day + 1), slot_most=slot_most):
        assert len(value.work_value) == slot_most + 1
        assert value.work_value[0] == 0.0
        assert np.all(np.diff(value.work_value) >= 0.0)
        assert value.cold_value >= 0.0
        assert 0.0 <= value.chance_without <= value.chance_with <= 1.0


def test_a_step_waits_for_what_it_needs():
    log = Log().topic("a", 3, chain=True, on=on(40))
    first, second, third = by_step(log, 0).values()
    assert first.available
    assert first.work_value[-1] > 0.0
    assert not second.available
    assert not third.available
    assert max(second.work_value) == max(third.work_value) == second.cold_value == 0.0
    log.answer("a.0", True)
    assert by_step(log, 1)["a.1"].available


def test_a_step_that_others_wait_for_is_worth_more():
    alone = Log().topic("a", 1, on=on(40)).topic("b", 1, on=on(40))
    chained = Log().topic("a", 3, chain=True, on=on(40)).topic("b", 1, on=on(40))
    assert by_step(chained, 0)["a.0"].work_value[10] > 1.2 * by_step(alone, 0)["a.0"].work_value[10]


def test_a_step_is_not_left_at_its_first_yes():
    log = Log().topic("a", 1, on=on(40)).topic("b", 1, on=on(40)).practised("a.0", [0])
    value = by_step(log, 4)["a.0"]
    assert value.work_value[8] > 0.1
    assert value.cold_value > 0.0
    assert value.need_left_min > 5.0


def test_importance_counts():
    log = Log().topic("a", 1, on=on(30), importance=5).topic("b", 1, on=on(30), importance=1)
    values = by_step(log, 0)
    assert values["a.0"].work_value[10] > 2.0 * values["b.0"].work_value[10]


@pytest.mark.parametrize("near", [3, 5, 10, 20])
def test_a_later_date_never_raises_urgency(near):
    """For a step within reach: the nearer its date, the more tonight's minutes are worth."""

    def urgency(days):
        log = Log().topic("a", 1).topic("b", 1, on=on(16 + days))
        log.practised("b.0", [0, 2, 5, 7])
        return by_step(log, 16)["b.0"].work_value[8]

    worth = [urgency(days) for days in (near, near + 10, near + 40)]
    assert worth == sorted(worth, reverse=True)


def test_topics_that_are_not_current_are_left_alone():
    log = Log().topic("a", 1).topic("b", 1)
    state = log.state
    state.topics["b"] = msgspec.structs.replace(state.topics["b"], place=Place.WAITING)
    assert {v.topic_id for v in day_values(state, DAY)} == {"a"}
    state.topics["a"] = msgspec.structs.replace(state.topics["a"], place=Place.LAID_ASIDE)
    assert {v.topic_id for v in day_values(state, DAY)} == {"b"}


def test_equal_logs_give_equal_values():
    log = Log().topic("a", 3, on=on(30)).topic("b", 2).practised("a.1", [0, 3])
    assert day_values(log.state, on(5)) == day_values(log.state, on(5))


def test_what_minutes_add_by_themselves_is_known_minute_by_minute():
    log = Log().topic("a", 2, on=on(30)).practised("a.0", [0, 3])
    for value in by_step(log, 5).values():
        assert len(value.chances) == 13
        assert list(value.chances) == sorted(value.chances)
        assert value.chances[0] == value.chance_without
        assert value.chances[8] == value.chance_with
        assert value.chances[12] > value.chances[0]
    assert by_step(log, 5)["a.0"].enough
    assert not by_step(log, 5)["a.1"].enough


def test_a_yes_says_more_than_a_no_and_their_average_is_the_chance_without():
    """The law of total probability."""
    chance = np.array([0.2, 0.5, 0.9])  # on the date, for three equally likely truths
    says = np.array([0.3, 0.5, 0.8])  # a yes to a cold take tomorrow, for the same
    told = posteriors_by_answer(chance, says)
    assert told.after_no < chance.mean() < told.after_yes
    average = told.yes * told.after_yes + (1.0 - told.yes) * told.after_no
    assert average == pytest.approx(chance.mean())


def test_what_does_not_fit_until_its_date_is_marked():
    log = Log().topic("a", 2, on=on(30)).topic("b", 30, on=on(8), need=200)
    found = by_step(log, 1)
    assert found["a.0"].fits
    assert not found["b.0"].fits


def test_minutes_a_day_follow_the_log():
    log = Log().topic("a", 1)
    fresh = minutes_per_day(log.state, DAY)
    for day in range(28):
        log.work("a.0", 10, day)
    assert 10.0 < minutes_per_day(log.state, on(28)) < fresh
