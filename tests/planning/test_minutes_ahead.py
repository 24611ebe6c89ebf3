"""What the days ahead have: as told, as really played, and less at first after days away."""

from datetime import timedelta

import numpy as np
import pytest
from builders import DAY, request, state_of
from hypothesis import given, settings
from hypothesis import strategies as st

from coldtake.domain.plan import SlotKind
from coldtake.domain.told_days import DayKind, ToldDay
from coldtake.domain.topic import StepPhase
from coldtake.planning.day.keeping import due_by
from coldtake.planning.day.plan_day import plan_day
from coldtake.planning.outlook.summary import outlook
from coldtake.planning.triage.selection import triage
from coldtake.planning.value.coming_back import START, START_LONG, coming_back
from coldtake.planning.value.minutes_ahead import (
    AHEAD_DAYS,
    EVEN,
    DayShares,
    minutes_per_day,
    minutes_until,
    share_of_days,
    shares_ahead,
    week_shares,
)
from coldtake.planning.value.topic_queue import turns_of
from logs import DAY as FIRST
from logs import Log

OFF = ToldDay(kind=DayKind.OFF)
SEED = 20270112


def on(days):
    return DAY + timedelta(days=days)


def played(state, minutes):
    """Play minutes on days counted from DAY."""
    for ahead, each in minutes.items():
        day = on(ahead)
        state.minutes_on[day] = each
    return state


def weeks(count, minutes):
    """The same minutes of the weekdays, DAY's first, in the weeks before DAY."""
    return {7 * w + d - 7 * count: m for w in range(count) for d, m in enumerate(minutes) if m}


def told(state, first, last, day=OFF):
    for ahead in range(first, last + 1):
        state.days_told[on(ahead)] = day
    return state


def test_who_tells_nothing_has_even_days():
    state = state_of([2])
    assert shares_ahead(state, DAY).of_day == pytest.approx(np.ones(AHEAD_DAYS))
    assert minutes_per_day(state, DAY) == pytest.approx(0.85 * 60)
    assert minutes_until(state, DAY, on(20)) == pytest.approx(20 * 0.85 * 60)


def test_days_off_and_other_minutes_change_the_minutes_before_a_date():
    state = told(told(state_of([2]), 2, 4), 6, 6, ToldDay(kind=DayKind.MINUTES, minutes=120))
    ahead = shares_ahead(state, DAY)
    assert ahead.of_day[:7] == pytest.approx([1, 1, 0, 0, 0, 1, 2])
    assert float(ahead.until(7)) == pytest.approx(5)
    assert ahead.between(3, np.array([2, 4])) == pytest.approx([0, 3])


def test_weekdays_that_are_told_share_the_week():
    state = state_of([2])
    state.weekdays_told |= {2: 25, 6: 90, 7: 0}  # Tuesday, Saturday, Sunday
    week = week_shares(state, DAY)
    assert week * minutes_per_day(state, DAY) == pytest.approx(
        0.85 * np.array([60, 25, 60, 60, 60, 90, 0])
    )
    assert week.mean() == pytest.approx(1)


def test_an_illness_that_is_told_does_not_lower_the_forecast():
    state = played(state_of([2]), {d: 60.0 for d in range(-28, 0) if not -12 <= d <= -6})
    silent = minutes_per_day(state, DAY), share_of_days(state, DAY)
    told(state, -12, -6, ToldDay(kind=DayKind.ILLNESS))
    assert minutes_per_day(state, DAY) > silent[0] + 5
    assert minutes_per_day(state, DAY) == pytest.approx((21 * 60 + 7 * 51) / 28)
    assert share_of_days(state, DAY) > silent[1]


def test_the_player_s_own_weekdays_are_learnt_and_the_week_stays_as_long():
    """Twenty minutes on Thursdays, an hour on the others, for six weeks."""
    state = played(state_of([2]), weeks(6, (60, 60, 60, 20, 60, 60, 60)))
    week = week_shares(state, DAY)
    assert week.mean() == pytest.approx(1)
    assert 0.3 < week[3] < 0.55
    assert week[[0, 1, 2, 4, 5, 6]] == pytest.approx(np.full(6, week[0]))


def test_no_rhythm_is_read_from_chance():
    """Days that are missed at random: over many players the week is nearly even."""
    rng, off = np.random.default_rng(SEED), []
    for _ in range(40):
        days = {d: 60.0 for d in range(-56, 0) if rng.random() < 0.85}
        off.append(np.abs(week_shares(played(state_of([1]), days), DAY) - 1.0).mean())
    assert np.mean(off) < 0.05  # without shrinking it is 0.12


def test_the_word_of_the_player_weighs_more_than_a_few_weeks():
    silent = played(state_of([2]), weeks(3, (60, 60, 60, 20, 60, 60, 60)))
    saying = played(state_of([2]), weeks(3, (60, 60, 60, 20, 60, 60, 60)))
    saying.weekdays_told[4] = 60
    assert week_shares(silent, DAY)[3] < week_shares(saying, DAY)[3] < 1


def test_a_weekday_without_practice_stays_one_though_it_was_played():
    state = played(state_of([2]), weeks(6, (60, 60, 60, 60, 60, 60, 10)))
    state.weekdays_told[7] = 0
    assert week_shares(state, DAY)[6] == 0


def test_after_a_holiday_the_plan_starts_with_half_and_grows_by_the_player_s_limit():
    state = played(state_of([2]), dict.fromkeys(range(-40, -9), 60.0))
    back = coming_back(state, DAY)
    assert (back.away_days, back.share, back.last, back.first) == (9, START, on(-10), DAY)
    assert not back.hurt
    shares = [START]
    for day in range(5):
        state.minutes_on[on(day)] = 30.0
        known = coming_back(state, on(day + 1))
        shares.append(known.share if known else 1.0)
    assert shares == pytest.approx([0.5, 0.6, 0.72, 0.864, 1.0, 1.0])


def test_on_days_still_to_come_nobody_has_been_away():
    state = played(state_of([2]), dict.fromkeys(range(-40, -2), 60.0))
    assert coming_back(state, on(4), on(4)) is not None  # six days without practice lie behind
    assert coming_back(state, on(4), DAY) is None  # they lie ahead
    told(state, 0, 3, ToldDay(kind=DayKind.HOLIDAY))
    back = coming_back(state, on(4), DAY)
    assert (back.away_days, back.first) == (6, on(4))
    gone = played(state_of([2]), dict.fromkeys(range(-40, -9), 60.0))
    shares = [coming_back(gone, on(day), DAY).share for day in range(3)]
    assert shares == pytest.approx([0.5, 0.6, 0.72])  # today is the first day back


def test_the_setting_and_the_length_of_the_absence_decide():
    few = played(state_of([2]), dict.fromkeys(range(-40, -4), 60.0))
    assert coming_back(few, DAY) is None
    few.settings["away_days"] = "4"
    assert coming_back(few, DAY).share == START
    long = played(state_of([2]), dict.fromkeys(range(-80, -30), 60.0))
    assert coming_back(long, DAY).share == START_LONG
    assert coming_back(state_of([2]), DAY) is None


@pytest.mark.parametrize("kind", [DayKind.ILLNESS, DayKind.PAIN])
def test_two_days_of_illness_or_pain_are_enough(kind):
    state = played(state_of([2]), dict.fromkeys(range(-40, -2), 60.0))
    assert coming_back(state, DAY) is None
    back = coming_back(told(state, -2, -1, ToldDay(kind=kind)), DAY)
    assert back.hurt
    assert back.why == (kind,)


def test_the_days_ahead_shorten_too_also_after_a_holiday_to_come():
    state = played(state_of([2]), dict.fromkeys(range(-56, 0), 60.0))
    of_day = shares_ahead(told(state, 3, 9), DAY).of_day
    assert of_day[:16] == pytest.approx([1, 1, 1, *([0] * 7), 0.5, 0.6, 0.72, 0.864, 1, 1])
    told(state, 10, 10, ToldDay(kind=DayKind.MINUTES, minutes=60))
    assert shares_ahead(state, DAY).of_day[10] == pytest.approx(1)  # the player's own word


def test_triage_and_outlook_count_the_same_days():
    state = state_of([3], performance_on=on(21))
    plain = minutes_until(state, on(1), on(21))
    free = told(state.copy(), 5, 18)
    [fits] = triage(state, DAY, per_day=9.0).now
    assert fits.topic_id == "t0"
    [out] = triage(free, DAY, per_day=9.0).left_out
    per_day = minutes_per_day(state, on(1))
    assert out.minutes_there == int(9.0 * minutes_until(free, on(1), on(21)) / per_day)
    assert minutes_until(free, on(1), on(21)) < plain
    assert outlook(free, DAY)[0].expected_steps < outlook(state, DAY)[0].expected_steps


def test_a_waiting_topic_s_turn_comes_later_when_days_off_lie_before_it():
    never = {"a": np.full((1, 4), -1.0)}
    waiting = [("x", 10.0, np.inf), ("y", 4.0, np.inf)]
    plain = turns_of(never, {}, 1, waiting, DAY)
    off = turns_of(never, {}, 1, waiting, DAY, EVEN.without(3, 5))
    assert plain["x"] == off["x"]
    assert off["y"].middle - plain["y"].middle == timedelta(days=5)


def test_cold_takes_are_due_before_days_off():
    state = played(state_of([2]), dict.fromkeys(range(-28, 0), 60.0))
    assert due_by(state, DAY) == DAY
    assert due_by(told(state, 1, 6), DAY) == on(6)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(0, 3), min_size=20, max_size=20), st.integers(0, 19), st.floats(0, 30))
def test_days_and_amounts_turn_round(of_day, days, amount):
    shares = DayShares.of(np.array([*of_day, *np.ones(AHEAD_DAYS - 20)]))
    assert float(shares.until(shares.days_for(amount))) == pytest.approx(amount, abs=1e-6)
    assert float(shares.until(days)) == pytest.approx(sum(of_day[:days]))
    assert float(shares.until(AHEAD_DAYS + 5)) == pytest.approx(float(shares.before[-1]) + 5)
    if amount <= float(shares.until(days)):
        latest = shares.latest(days, amount)
        assert float(shares.until(days) - shares.until(latest)) == pytest.approx(amount, abs=1e-6)
    assert EVEN.latest(days, amount) == pytest.approx(days - amount)


def test_met_steps_are_looked_at_before_they_are_worked_on():
    """Nine days away: of what was met, nothing is worked on before its first try of the day."""
    log = Log().topic("a", 4).topic("b", 4)
    for step in ("a.0", "a.1", "b.0", "b.1"):
        log.practised(step, [0, 2, 4, 6])
    state = log.state
    met = {i for i in state.steps if state.phase(i) in (StepPhase.MET, StepPhase.HELD)}
    assert met
    for minutes in (15, 30, 60):
        plan = plan_day(state, request(minutes, day=FIRST + timedelta(days=16)))
        assert plan.minutes > minutes - 9  # no minutes lie idle for it
        seen = set()
        for slot in plan.slots:
            cold = slot.kind is SlotKind.COLD or slot.begins_cold
            assert cold or slot.step_id not in met - seen
            seen.add(slot.step_id)
    before = [
        s
        for s in plan_day(state, request(30, day=FIRST + timedelta(days=8))).slots
        if s.kind is SlotKind.COLD
    ]
    after = [
        s
        for s in plan_day(state, request(30, day=FIRST + timedelta(days=16))).slots
        if s.kind is SlotKind.COLD
    ]
    assert len(after) > len(before)
