"""Topics go round, whatever minutes are worth: shares, days, and no minutes lost by importance."""

from datetime import timedelta

import msgspec
import numpy as np
import pytest
from builders import DAY, random_values, request, state_of, value, work_on
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from coldtake.domain.plan import PlanRules, Wish, violations
from coldtake.planning.day.going_round import due_topics, filled, near, rotation_of
from coldtake.planning.day.plan_day import plan_day, rules_of

SIZES = st.lists(st.integers(1, 7), min_size=3, max_size=8).map(tuple)


def changed(state, topic_id, **fields):
    state.topics[topic_id] = msgspec.structs.replace(state.topics[topic_id], **fields)


def minutes_of(plan):
    each = {}
    for slot in plan.slots:
        each[slot.topic_id] = each.get(slot.topic_id, 0) + slot.minutes
    return each


@settings(max_examples=30, deadline=None)
@given(
    sizes=SIZES,
    seed=st.integers(0, 10_000),
    minutes=st.integers(10, 180),
    share=st.sampled_from([50, 50, 40, 70]),
)
def test_no_topic_takes_more_than_its_share(sizes, seed, minutes, share):
    """Of any values; unless all others together leave more, by their own options."""
    state = state_of(sizes, settings={"topic_share": str(share)})
    values = random_values(state, seed)
    plan = plan_day(state, request(minutes), values=values)
    assert violations(plan) == ()
    each, total = minutes_of(plan), sum(p.minutes for p in plan.periods)
    busy = {v.topic_id for v in values if v.available}
    over = [t for t, m in each.items() if 100 * m > share * total]
    if len(busy) >= 3 and over:
        assert not set(over) & set(plan.shared)
        rest = [v for v in values if v.available and v.topic_id not in over]
        shortest = 100 * max(s.minutes for s in plan.slots) > share * total
        assert shortest or 26 * len(rest) < total or plan.minutes >= minutes - 5


@pytest.mark.parametrize("minutes", [25, 40, 60, 75, 90, 120])
def test_one_topic_worth_more_than_all_others_has_half_and_nothing_is_left_unused(minutes):
    """The example's plan gave one topic nine slots of ten."""
    state = state_of((9, 9, 9, 9))
    values = [value(i, best=30.0 if i.startswith("t0") else 0.5) for i in state.steps]
    plan = plan_day(state, request(minutes), values=values)
    total = sum(p.minutes for p in plan.periods)
    assert 2 * max(minutes_of(plan).values()) <= total
    assert plan.minutes >= minutes - 2
    assert set(plan.shared) == {"t0", "t1", "t2", "t3"}


def test_in_its_last_days_a_topic_may_take_more():
    state = state_of((9, 2, 2))
    values = [value(i) for i in state.steps]
    for topic_id in state.topics:
        changed(state, topic_id, importance=5 if topic_id == "t0" else 1)
    for days, free in ((30, False), (8, False), (7, True), (1, True)):
        changed(state, "t0", performance_on=DAY + timedelta(days=days))
        plan = plan_day(state, request(60), values=values)
        total = sum(p.minutes for p in plan.periods)
        assert (2 * minutes_of(plan)["t0"] > total) == free
        assert ("t0" not in plan.shared) == free


def test_what_the_others_cannot_use_is_not_left_unused():
    state = state_of((9, 1, 1))
    values = [value(i, need=40 if i.startswith("t0") else 10) for i in state.steps]
    plan = plan_day(state, request(60), values=values)
    each = minutes_of(plan)
    assert each == {"t0": 55 - 16, "t1": 8, "t2": 8}
    assert "t0" not in plan.shared
    assert violations(plan) == ()


def test_the_player_may_ask_for_more():
    state = state_of((4, 4, 4))
    values = [value(i) for i in state.steps]
    wishes = [Wish(step_id=f"t0s{n}", minutes=12) for n in range(3)]
    plan = plan_day(state, request(60, *wishes), values=values)
    assert minutes_of(plan)["t0"] >= 36
    assert any("One topic takes" in remark for remark in plan.remarks)


def test_with_two_topics_there_is_no_limit():
    state = state_of((9, 2))
    values = [value(i, need=40 if i.startswith("t0") else 10) for i in state.steps]
    assert plan_day(state, request(60), values=values).shared == ()


@settings(max_examples=8, deadline=None)
@given(
    topics=st.integers(2, 8),
    minutes=st.sampled_from([25, 45, 60, 90]),
    seed=st.integers(0, 10_000),
)
def test_each_topic_is_met_again_within_its_days(topics, minutes, seed):
    """Twelve days lived with the plans, of any values."""
    state = state_of((3,) * topics)
    last = dict.fromkeys(state.topics, None)
    for n in range(12):
        day = DAY + timedelta(days=n)
        plan = plan_day(state, request(minutes, day=day), values=random_values(state, seed + n))
        rules = plan.rules
        each = min(rules.topics_most, minutes // rules.slot_least_min)
        assume(topics <= each * rules.touch_days)
        can = {v.topic_id for v in random_values(state, seed + n) if v.available}
        for slot in plan.slots:
            state.keep_work(work_on(slot.step_id, -n, float(slot.minutes)), f"{n}")
        for topic_id in {s.topic_id for s in plan.slots}:
            last[topic_id] = n
        late = [t for t, d in last.items() if n - (-1 if d is None else d) > rules.touch_days]
        assert not [t for t in late if t in can], (n, late)


def test_due_topics_are_spread_before_they_crowd():
    """Six topics all last met yesterday cannot wait for the third day: four a day is the most."""
    state = state_of((1,) * 6)
    for step_id in state.steps:
        state.keep_work(work_on(step_id, 2, 5.0), "work")
    rules = PlanRules()
    assert due_topics(state, DAY, rules, list(state.topics), 60) == {"t0", "t1"}
    assert due_topics(state, DAY + timedelta(days=1), rules, list(state.topics), 60) == set(
        state.topics
    )
    assert due_topics(state, DAY - timedelta(days=1), rules, list(state.topics), 60) == set()


def test_meeting_some_of_many_topics_makes_the_others_no_more_due():
    """Ten current topics are too many to go round; with three of them met they still are."""
    state = state_of((1,) * 10)
    for step_id in state.steps:
        state.keep_work(work_on(step_id, 9, 5.0), "work")
    rules, topics = PlanRules(), list(state.topics)
    assert due_topics(state, DAY, rules, topics, 60) == set()
    assert due_topics(state, DAY, rules, topics[3:], 60) == set()
    few = state_of((1,) * 7)
    for step_id in few.steps:
        few.keep_work(work_on(step_id, 9, 5.0), "work")
    assert due_topics(few, DAY, rules, list(few.topics), 60) == set(few.topics)


def test_a_part_rises_with_importance_and_nearness():
    state = state_of((3, 3, 3))
    rules = rules_of(state)

    def part(importance, days):
        on = None if days is None else DAY + timedelta(days=days)
        changed(state, "t0", importance=importance, performance_on=on)
        made = rotation_of(state, DAY, rules, dict.fromkeys(state.topics, True), 60)
        return made.parts(55, [90, 90, 90], [4, 4, 4], [0, 0, 0], 4).target[0]

    by_importance = [part(i, None) for i in range(1, 6)]
    assert by_importance == sorted(by_importance)
    assert by_importance[0] < by_importance[-1]
    by_date = [part(2, days) for days in (None, 200, 90, 80, 60, 40, 20, 10, 8)]
    assert by_date == sorted(by_date)
    assert by_date[0] < by_date[-1]
    assert near(0) == near(1) > near(2) > near(80) > near(85) == near(None) == 1.0


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_filling_is_exact_and_monotone(data):
    count = data.draw(st.integers(1, 8))
    numbers = st.lists(st.floats(0.01, 50.0), min_size=count, max_size=count).map(np.array)
    weight, room = data.draw(numbers), data.draw(numbers)
    start = data.draw(numbers) - 25.0
    minutes = data.draw(st.floats(0.0, 1.0)) * float(room.sum())
    found = filled(minutes, weight, start, room)
    assert found.sum() == pytest.approx(minutes, abs=1e-6)
    assert ((found >= -1e-9) & (found <= room + 1e-9)).all()
    inner = (found > 1e-6) & (found < room - 1e-6)  # these stand at one level
    levels = ((found - start) / weight)[inner]
    assert levels == pytest.approx(levels[:1].repeat(len(levels)), rel=1e-6, abs=1e-6)
    more = weight.copy()
    more[0] *= data.draw(st.floats(1.0, 10.0))
    level = (found[0] - start[0]) / weight[0]
    raised = filled(minutes, more, start, room)[0]
    assert raised >= found[0] - 1e-6 or level < 0.0
