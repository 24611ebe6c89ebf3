from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldtake.domain.take import Judge
from coldtake.learning import filter as filtering
from coldtake.learning.history import histories
from coldtake.learning.memory import estimates
from coldtake.learning.posterior import beliefs
from logs import DAY, Log

LATER = DAY + timedelta(days=30)

# What happens on a day: minutes of work, and the answers to a cold and to a warm take.
DAYS = st.lists(
    st.tuples(st.integers(0, 20), st.integers(1, 15), st.booleans(), st.booleans()), max_size=8
)


def lived(days):
    log, day = Log().topic("a", 2), 0
    for gap, minutes, cold, warm in days:
        day += gap
        log.answer("a.0", cold, day).work("a.0", minutes, day).answer("a.0", warm, day)
    return log, day


def clean(log, day, step="a.0"):
    return estimates(log.state, DAY + timedelta(days=day))[step].clean_cold


def ordered(interval):
    return interval.low <= interval.mid <= interval.high


def test_an_empty_log_has_no_estimates():
    assert estimates(Log().state, DAY) == {}


def test_a_fresh_step_is_a_first_guess_and_says_so():
    known = estimates(Log().topic("a").state, DAY)["a.0"]
    assert not known.enough
    assert known.tries == known.cold_takes == 0
    assert known.clean_cold.mid < 0.3
    assert 20 < known.minutes_to_met.mid < 60  # the player expects 40


def test_takes_on_two_days_are_enough():
    log = Log().topic("a", 2).practised("a.0", [0, 2])
    known = estimates(log.state, DAY + timedelta(days=2))
    assert known["a.0"].enough
    assert not known["a.1"].enough
    assert (known["a.0"].cold_takes, known["a.0"].tries) == (2, 4)


@settings(max_examples=25, deadline=None)
@given(DAYS, st.integers(0, 3))
def test_another_yes_never_lowers_the_estimate(days, wait):
    log, day = lived(days)
    day += wait
    before = clean(log, day).mid
    log.answer("a.0", True, day)
    assert clean(log, day).mid >= before - 1e-9


@settings(max_examples=15, deadline=None)
@given(DAYS)
def test_intervals_keep_their_order_and_lie_within_bounds(days):
    log, day = lived(days)
    for known in estimates(log.state, DAY + timedelta(days=day)).values():
        assert ordered(known.clean_cold)
        assert ordered(known.half_life_days)
        assert ordered(known.minutes_to_met)
        assert known.clean_cold.low >= 0.0
        assert known.clean_cold.high <= 1.0
        assert known.half_life_days.low > 0.0


def test_a_yes_is_worth_more_than_a_no():
    better = clean(Log().topic("a").practised("a.0", [0, 3, 6], yes=True), 7)
    worse = clean(Log().topic("a").practised("a.0", [0, 3, 6], yes=False), 7)
    assert better.low > worse.mid


def test_what_is_left_alone_fades():
    log = Log().topic("a").practised("a.0", [0, 1, 3, 6])
    chances = [clean(log, day).mid for day in (7, 14, 28, 90)]
    assert chances == sorted(chances, reverse=True)
    assert chances[-1] < chances[0] - 0.2


def test_what_holds_over_long_gaps_has_a_longer_half_life():
    spaced = estimates(Log().topic("a").practised("a.0", [0, 4, 12, 30]).state, LATER)["a.0"]
    forgot = Log().topic("a")
    for day in (0, 4, 12, 30):
        forgot.answer("a.0", False, day).work("a.0", 8, day).answer("a.0", True, day)
    short = estimates(forgot.state, LATER)["a.0"]
    assert spaced.half_life_days.mid > 1.3 * short.half_life_days.mid


def test_a_players_other_steps_tell_about_a_new_one():
    quick, slow = Log().topic("a", 6), Log().topic("a", 6)
    for n in range(5):
        quick.practised(f"a.{n}", [0, 1], minutes=4, yes=True)
        slow.practised(f"a.{n}", [0, 1, 2, 3], minutes=15, yes=False)
    on = DAY + timedelta(days=4)
    new_quick, new_slow = estimates(quick.state, on)["a.5"], estimates(slow.state, on)["a.5"]
    assert new_quick.minutes_to_met.mid < 0.7 * new_slow.minutes_to_met.mid
    assert not new_quick.enough


def test_the_tool_is_believed_more_than_the_player():
    own = Log().topic("a").work("a.0", 5).answer("a.0", True)
    heard = Log().topic("a").work("a.0", 5).answer("a.0", True, judge=Judge.TOOL)
    assert clean(heard, 1).mid > clean(own, 1).mid


def test_equal_logs_give_equal_estimates_and_going_on_equals_starting_anew():
    log = Log().topic("a", 2).practised("a.0", [0, 2, 5])
    estimates(log.state, DAY + timedelta(days=5))
    log.practised("a.0", [9, 10], yes=False)
    gone_on = estimates(log.state, LATER)
    filtering._cache.clear()
    assert estimates(log.state, LATER) == gone_on


def test_days_to_come_are_not_looked_at():
    log = Log().topic("a").practised("a.0", [0, 2])
    before = clean(log, 3)
    log.practised("a.0", [9], yes=False)
    assert clean(log, 3) == before


def test_a_try_inside_a_slot_sees_the_minutes_before_it():
    log = Log().topic("a").work("a.0", 10)
    log.at -= timedelta(minutes=4)
    log.answer("a.0", True)
    marks = histories(log.state, DAY)["a.0"]
    assert sum(m.minutes for m in marks) == pytest.approx(10.0)
    assert [m.yes for m in marks] == [True, None]
    assert marks[0].minutes == pytest.approx(6.0, abs=0.1)


def test_weights_are_a_posterior():
    b = beliefs(Log().topic("a", 3).practised("a.1", [0, 1, 4]).state, LATER)
    assert b.weight.sum(axis=1) == pytest.approx(1.0)
    assert b.types.sum() == pytest.approx(1.0)
    assert b.weight[0] == pytest.approx(b.weight[2])


@pytest.mark.parametrize("judge", list(Judge))
def test_what_was_known_when_it_was_entered_is_believed_within_days(judge):
    """Clean first tries without any work: five of them are not five errors of the ear."""
    log = Log().topic("a")
    days = (0, 3, 6, 9, 12)
    mids = [clean(log.answer("a.0", True, day, judge=judge), day).mid for day in days]
    assert mids == sorted(mids)
    assert mids[0] < 0.3
    assert mids[-1] > 0.55


def test_what_was_not_known_is_not_believed_for_one_lucky_answer():
    log = Log().topic("a")
    for day, yes in enumerate((True, False, False)):
        log.answer("a.0", yes, day)
    assert clean(log, 2).mid < 0.1
