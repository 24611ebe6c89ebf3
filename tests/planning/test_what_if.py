"""What one change costs: paired differences over the same possible futures."""

from datetime import timedelta

import msgspec
import numpy as np
import pytest
from builders import state_of

from coldtake.domain import events as ev
from coldtake.domain.performance import Performance
from coldtake.domain.topic import Place
from coldtake.errors import InputError
from coldtake.planning.what_if import comparison as module
from coldtake.planning.what_if.comparison import (
    BATCHES,
    DRAWS,
    SPREAD,
    Paired,
    difference,
    refined,
    what_if,
)
from coldtake.planning.what_if.what_if_scenario import LENT_STEPS, WhatIf, lent_to, supposed_state
from logs import DAY, Log

TODAY = DAY + timedelta(days=7)


@pytest.fixture(scope="module")
def state():
    """Three current topics that have begun, a waiting one with steps, and one without."""
    log = Log()
    for name in ("a", "b", "c", "d", "bare"):
        steps = 0 if name == "bare" else 5
        log.topic(name, steps, on=DAY + timedelta(days=45), need=50)
        for n in range(steps if name in "abc" else 0):
            log.practised(f"{name}.{n}", [0, 2, 5], yes=n % 2 == 0)
    for name in ("d", "bare"):
        log.put(ev.TopicPlaced(topic_id=name, place=Place.WAITING))
    return log.state


def by_id(found):
    return {t.topic_id: t for t in found.topics}


def test_nothing_supposed_changes_exactly_nothing(state):
    found = what_if(state, TODAY, WhatIf())
    assert [t.topic_id for t in found.topics] == ["a", "b", "c"]
    for topic in found.topics:
        assert topic.steps_then == topic.steps_now
        for gain in (topic.clean, topic.whole):
            assert (gain.mean, gain.error, gain.low, gain.high) == (0.0, 0.0, 0.0, 0.0)


@pytest.mark.parametrize(
    "supposed",
    [
        WhatIf(importances={"a": 3}),
        WhatIf(dates={"a": DAY + timedelta(days=45)}),
        WhatIf(take_on=("b",)),
        WhatIf(leave=("d",)),
        WhatIf(free_from=TODAY, free_days=0),
    ],
)
def test_what_is_so_already_changes_exactly_nothing(state, supposed):
    assert what_if(state, TODAY, supposed).all.mean == 0.0


def test_one_more_topic_takes_from_the_others_and_gains_itself(state):
    found = what_if(state, TODAY, WhatIf(take_on=("d",)))
    own = by_id(found)["d"]
    assert (own.current_now, own.current_then) == (False, True)
    assert own.clean.mean > 1.0
    assert found.others.mean < -5.0 * found.others.error
    assert found.all.mean == pytest.approx(own.clean.mean + found.others.mean)
    others = sum(t.clean.mean for t in found.topics if t.topic_id != "d")
    assert found.others.mean == pytest.approx(others)


def test_one_topic_less_gives_to_the_others_and_loses_itself(state):
    found = what_if(state, TODAY, WhatIf(leave=("a",)))
    assert by_id(found)["a"].clean.mean < -1.0
    assert found.others.mean > 5.0 * found.others.error


def test_a_topic_without_steps_is_lent_as_many_as_the_others_have(state):
    found = by_id(what_if(state, TODAY, WhatIf(take_on=("bare",))))
    assert (found["bare"].lent, found["bare"].steps) == (True, 5)
    assert not found["a"].lent
    bare = Log().topic("x", 0).state
    assert len(supposed_state(bare, {"x"}, WhatIf()).order["x"]) == LENT_STEPS
    assert bare.order["x"] == ()  # nothing is kept


def test_more_minutes_never_cost_and_fewer_never_bring_beyond_the_noise(state):
    for more in (5, 20, 60):
        longer = what_if(state, TODAY, WhatIf(more_min=more))
        assert all(t.clean.mean >= -3.0 * t.clean.error - 1e-9 for t in longer.topics)
        assert longer.all.mean > 0.0
    shorter = what_if(state, TODAY, WhatIf(more_min=-10))
    assert shorter.all.mean < 3.0 * shorter.all.error


def test_a_holiday_costs_and_a_longer_one_costs_more(state):
    first = TODAY + timedelta(days=10)
    week = what_if(state, TODAY, WhatIf(free_from=first, free_days=7)).all.mean
    month = what_if(state, TODAY, WhatIf(free_from=first, free_days=28)).all.mean
    assert month < week < 0.0


def test_a_holiday_after_all_dates_costs_nothing(state):
    late = WhatIf(free_from=DAY + timedelta(days=60), free_days=7)
    assert what_if(state, TODAY, late).all.mean == 0.0


def test_a_nearer_date_costs_the_topic_and_moves_its_day(state):
    near = DAY + timedelta(days=20)
    own = by_id(what_if(state, TODAY, WhatIf(dates={"a": near})))["a"]
    assert own.on == near
    assert own.on_now == DAY + timedelta(days=45)
    assert own.clean.mean < -5.0 * own.clean.error


def test_a_programme_gives_the_date_and_a_supposed_one_goes_before_it(state):
    concert = Performance(
        id="p", title="Concert", on=DAY + timedelta(days=30), programme=("a", "b")
    )
    staged = msgspec.structs.replace(state.copy(), performances={"p": concert})
    found = by_id(what_if(staged, TODAY, WhatIf(dates={"a": DAY + timedelta(days=20)})))
    assert found["a"].on_now == found["b"].on_now == found["b"].on == concert.on
    assert found["a"].on == DAY + timedelta(days=20)
    assert staged.performances["p"].programme == ("a", "b")  # nothing is kept


def test_a_higher_importance_brings_the_topic_more(state):
    log = Log()
    for name in ("a", "b", "c"):
        log.topic(name, 8, on=DAY + timedelta(days=30), need=90)
    risen = by_id(what_if(log.state, TODAY, WhatIf(importances={"c": 5})))["c"]
    assert risen.clean.mean > 3.0 * risen.clean.error


def test_common_random_numbers_need_far_fewer_draws(state):
    """Var(X - Y) = Var X + Var Y - 2 Cov(X, Y): with common random numbers the covariance is
    positive and the difference varies less (Law, Simulation Modeling and Analysis, 5th ed. 2015,
    ch. 11.2; Glasserman and Yao, Management Science 38, 1992; both from memory).
    """
    paired = Paired(state, TODAY, WhatIf(more_min=20))
    one, other = paired.live(200, 0), paired.live(200, 1)
    now, then = one.now.final.sum(axis=0), one.then.final.sum(axis=0)
    common = (then - now).var(ddof=1)
    independent = (other.then.final.sum(axis=0) - now).var(ddof=1)
    covariance = np.cov(now, then)[0, 1]
    assert covariance > 0.0
    assert common == pytest.approx(now.var(ddof=1) + then.var(ddof=1) - 2.0 * covariance)
    assert common < independent / 3.0


def test_mean_error_and_interval_of_a_difference():
    """A worked example of paired differences: mean 3, standard deviation sqrt(2.5), n = 5.

    The standard error is s / sqrt(n), 0.7071 (any textbook of statistics; from memory).
    """
    gain = difference(np.array([1.0, 2.0, 3.0, 4.0, 5.0]))
    assert gain.mean == 3.0
    assert (gain.low, gain.high) == pytest.approx((3.0 - SPREAD * 1.6, 3.0 + SPREAD * 1.6))
    assert gain.error == pytest.approx(np.sqrt(2.5) / np.sqrt(5.0))


def test_the_error_falls_with_the_draws_and_the_interval_does_not(state):
    batches = list(refined(state, TODAY, WhatIf(take_on=("d",))))
    assert [b.draws for b in batches] == [DRAWS * (n + 1) for n in range(BATCHES)]
    first, last = batches[0].others, batches[-1].others
    assert last.error < first.error / 2.0
    assert abs(last.mean - first.mean) < 4.0 * first.error
    assert last.high - last.low > 4.0 * last.error


def test_equal_logs_give_equal_answers(state):
    supposed = WhatIf(take_on=("d",), more_min=10)
    assert what_if(state, TODAY, supposed) == what_if(state, TODAY, supposed)


def test_it_can_be_stopped(state):
    class Watch:
        seen = ()

        def step(self, done, total, words):
            self.seen = (*self.seen, (done, total, words))
            return done < 2

    watch = Watch()
    found = what_if(state, TODAY, WhatIf(more_min=20), progress=watch)
    assert [s[:2] for s in watch.seen] == [(1, BATCHES), (2, BATCHES)]
    assert watch.seen[0][2].startswith(f"{DRAWS} of ")
    assert found.draws == 2 * DRAWS


def test_an_empty_pile_has_nothing_to_suppose():
    assert what_if(Log().state, DAY, WhatIf()).topics == ()


def test_the_only_topic_can_wait(state):
    alone = Log().topic("a", 3, on=DAY + timedelta(days=30)).state
    own = by_id(what_if(alone, TODAY, WhatIf(leave=("a",))))["a"]
    assert (own.current_now, own.current_then) == (True, False)
    assert own.clean.mean < 0.0


def test_while_nothing_is_current_one_topic_taken_on_is_the_only_one():
    log = Log().topic("a", 3).topic("b", 3)
    for name in "ab":
        log.put(ev.TopicPlaced(topic_id=name, place=Place.WAITING))
    found = by_id(what_if(log.state, TODAY, WhatIf(take_on=("a",))))
    assert found["a"].clean.mean > 0.0 > found["b"].clean.mean
    assert found["b"].current_now
    assert not found["b"].current_then


def test_who_waits_has_a_turn_and_a_topic_taken_on_moves_the_others(state):
    full = state.copy()
    full.settings["current_topics"] = "3"
    now = {t.topic_id: t for t in what_if(full, TODAY, WhatIf()).waiting}
    assert set(now) == {"d", "bare"}
    assert all(t.now == t.then for t in now.values())
    assert all(t.now.early > TODAY for t in now.values())
    taken = {t.topic_id: t for t in what_if(full, TODAY, WhatIf(take_on=("d",))).waiting}
    assert taken["d"].then is None
    assert taken["bare"].then.middle >= taken["bare"].now.middle
    assert taken["bare"].then.early > taken["bare"].now.early


def test_a_current_topic_without_steps_takes_a_place_and_does_not_wait(state):
    full = state.copy()
    full.settings["current_topics"] = "4"
    full.topics["bare"] = msgspec.structs.replace(full.topics["bare"], place=Place.CURRENT)
    (only,) = what_if(full, TODAY, WhatIf(more_min=5)).waiting
    assert only.topic_id == "d"
    assert only.now.early > TODAY


def test_a_topic_that_is_not_there(state):
    with pytest.raises(InputError, match="topic was not found"):
        what_if(state, TODAY, WhatIf(take_on=("z",)))
    with pytest.raises(InputError, match="Importance 7 is not possible"):
        what_if(state, TODAY, WhatIf(importances={"a": 7}))


def test_the_answer_is_plain_json(state):
    found = next(refined(state, TODAY, WhatIf(more_min=5)))
    assert msgspec.json.decode(msgspec.json.encode(found), type=module.WhatIfFound) == found


def test_a_guess_for_a_piece_is_about_as_long_as_the_pieces_it_is_taken_from():
    """Short steps are many and long ones few: a step's median says too little of the whole."""
    state = state_of((5, 5, 0))
    for topic_id in ("t0", "t1"):
        for step, minutes in zip(state.topic_steps(topic_id), (8, 8, 8, 26, 44), strict=True):
            state.steps[step.id] = msgspec.structs.replace(step, need_min=minutes)
    guess = lent_to(state, "t2")
    assert guess.steps * guess.minutes == pytest.approx(8 + 8 + 8 + 26 + 44, rel=0.05)
