"""The rules of a plan as properties of whatever is planned (design, section 3)."""

import re
from itertools import pairwise

import msgspec
import pytest
from builders import random_values, ready, request, state_of, value, work_on
from hypothesis import given, settings
from hypothesis import strategies as st

from coldtake.domain.plan import HARD_PERIOD_MIN, SlotKind, violations
from coldtake.domain.topic import Place
from coldtake.errors import PlanError
from coldtake.planning.day.composition.options import FIRST_MORE_MIN
from coldtake.planning.day.plan_day import (
    NO_HISTORY,
    NO_STEPS,
    NONE_CURRENT,
    ONE_TOPIC,
    plan_day,
    rules_of,
)

SIZES = st.lists(st.integers(1, 7), min_size=1, max_size=7).map(tuple)
CHOSEN = st.fixed_dictionaries(
    {},
    optional={
        "period_cap": st.integers(5, 60).map(str),
        "break_minutes": st.integers(3, 20).map(str),
        "slot_least": st.integers(1, 15).map(str),
        "slot_most": st.integers(2, 30).map(str),
        "topics_most": st.integers(1, 8).map(str),
        "topics_least": st.integers(1, 4).map(str),
        "cold_minutes": st.integers(1, 6).map(str),
        "tightness": st.integers(30, 100).map(str),
    },
)


def planned(sizes, seed, minutes, chosen=None, due_share=0.3):
    state = state_of(sizes, settings=chosen)
    return plan_day(state, request(minutes), values=random_values(state, seed, due_share=due_share))


@pytest.mark.long
@settings(max_examples=60, deadline=None)
@given(sizes=SIZES, seed=st.integers(0, 10_000), minutes=st.integers(5, 200), chosen=CHOSEN)
def test_every_rule_is_kept(sizes, seed, minutes, chosen):
    plan = planned(sizes, seed, minutes, chosen)
    rules = plan.rules
    assert violations(plan) == ()
    assert plan.minutes <= minutes
    assert all(p.minutes <= min(rules.period_cap_min, HARD_PERIOD_MIN) for p in plan.periods)
    assert all(a.step_id != b.step_id for a, b in pairwise(plan.slots))
    assert len({s.topic_id for s in plan.slots}) <= rules.topics_most
    assert len({s.id for s in plan.slots}) == len(plan.slots)
    assert plan.bound >= plan.value - 1e-6
    for n, slot in enumerate(plan.slots):
        before = {s.topic_id for s in plan.slots[:n] if s.kind is SlotKind.WORK}
        assert slot.kind is SlotKind.WORK or slot.topic_id not in before


@settings(max_examples=25, deadline=None)
@given(sizes=SIZES, seed=st.integers(0, 10_000), minutes=st.integers(5, 200))
def test_slots_have_the_lengths_of_the_rules(sizes, seed, minutes):
    plan = planned(sizes, seed, minutes)
    for slot in plan.slots:
        if slot.kind is SlotKind.COLD:
            assert slot.minutes == plan.rules.cold_min
        else:
            assert 4 <= slot.minutes <= 12
        assert slot.question.endswith("?")
        assert slot.goal.endswith(".")
        assert slot.reason.endswith(".")


@settings(max_examples=25, deadline=None)
@given(
    sizes=st.lists(st.integers(1, 7), min_size=2, max_size=7).map(tuple),
    seed=st.integers(0, 10_000),
    minutes=st.integers(12, 200),
)
def test_two_to_four_topics(sizes, seed, minutes):
    state = state_of(sizes)
    values = random_values(state, seed, open_share=1.0)
    plan = plan_day(state, request(minutes), values=values)
    assert 2 <= len({s.topic_id for s in plan.slots}) <= 4


@settings(max_examples=15, deadline=None)
@given(sizes=SIZES, seed=st.integers(0, 10_000), minutes=st.integers(5, 150))
def test_equal_states_give_equal_plans(sizes, seed, minutes):
    assert planned(sizes, seed, minutes) == planned(sizes, seed, minutes)


@settings(max_examples=12, deadline=None, derandomize=True)
@given(sizes=SIZES, seed=st.integers(0, 10_000), start=st.integers(5, 120))
def test_more_minutes_never_lower_the_value(sizes, seed, start):
    """Exact for the choice (test_choice); slots that hardly fit into periods may cost a little."""
    chosen = {"topics_least": "1", "topic_share": "100"}
    plans = [planned(sizes, seed, start + m, chosen, 0.0) for m in range(8)]
    assert all(b.bound >= a.bound - 1e-6 for a, b in pairwise(plans))
    assert all(b.value >= 0.97 * a.value for a, b in pairwise(plans))


@pytest.mark.parametrize(
    ("minutes", "cap", "periods"),
    [
        (120, 40, 3),  # common practice, no source
        (60, 30, 2),
        (30, 30, 1),
        (25, 30, 1),
        (180, 60, 3),
        (65, 30, 2),
    ],
)
def test_number_of_periods(minutes, cap, periods):
    state = state_of((8, 8, 8, 8), settings={"period_cap": str(cap)})
    plan = plan_day(state, request(minutes), values=random_values(state, 7, open_share=1.0))
    assert len(plan.periods) == periods
    assert plan.minutes >= minutes - 5


def test_due_topics_are_touched():
    state = state_of((3, 3, 3, 3, 3, 3))
    values = [value(i, best=0.3 if i[1] in "45" else 6.0, most=12) for i in state.steps]
    for step_id in state.steps:
        state.keep_work(work_on(step_id, 3 if step_id[1] in "45" else 1, 5.0), "work")
    plan = plan_day(state, request(60), values=values)
    assert {"t4", "t5"} <= {s.topic_id for s in plan.slots}


def test_a_due_topic_is_touched_even_where_minutes_add_nothing():
    state = state_of((2, 1))
    values = [value("t0s0"), value("t0s1"), value("t1s0", best=0.0, due=True)]
    plan = plan_day(state, request(30), values=values)
    assert "t1" in {s.topic_id for s in plan.slots}


def test_two_hundred_steps_are_planned():
    state = state_of((10,) * 20)
    plan = plan_day(state, request(180), values=random_values(state, 3, due_share=0.3))
    assert violations(plan) == ()
    assert 170 <= plan.minutes <= 180
    assert len(plan.left_out) == 200 - len({s.step_id for s in plan.slots})


def test_new_work_comes_before_easier_work():
    state = state_of((1, 1, 1))
    base = [value(i) for i in state.steps]
    chances = (0.9, 0.1, 0.5)
    values = [
        type(v)(**{**{f: getattr(v, f) for f in v.__dataclass_fields__}, "chance_without": c})
        for v, c in zip(base, chances, strict=True)
    ]
    plan = plan_day(state, request(30), values=values)
    assert [s.step_id for s in plan.slots] == ["t1s0", "t2s0", "t0s0"]


def test_topics_go_round():
    state = state_of((3, 3))
    plan = plan_day(state, request(30), values=[value(i, need=10) for i in state.steps])
    topics = [s.topic_id for s in plan.slots]
    assert all(a != b for a, b in pairwise(topics))


def test_the_same_exercise_never_twice_running_in_a_topic():
    state = state_of((2, 2))
    step = state.steps["t0s1"]
    state.steps["t0s1"] = type(step)(
        **{
            **{f: getattr(step, f) for f in step.__struct_fields__},
            "exercise": state.steps["t0s0"].exercise,
        }
    )
    plan = plan_day(state, request(30), values=[value(i, need=10) for i in state.steps])
    runs = [{a.step_id, b.step_id} for a, b in pairwise(plan.slots)]
    assert {"t0s0", "t0s1"} not in runs


def test_one_step_gets_no_neighbour_of_its_own():
    state = state_of((1,))
    plan = plan_day(state, request(60), values=[value("t0s0", cold=1.0, need=100)])
    assert [(s.kind, s.minutes) for s in plan.slots] == [(SlotKind.WORK, 12)]
    assert ONE_TOPIC in plan.remarks


def test_a_step_may_have_two_slots_apart():
    state = state_of((1, 1))
    plan = plan_day(state, request(60), values=[value(i, half=20, need=100) for i in state.steps])
    assert [s.step_id for s in plan.slots] == ["t0s0", "t1s0", "t0s0", "t1s0"]


def test_first_plan_says_that_nothing_is_known():
    state, values = ready()
    assert plan_day(state, request(60), values=values).remarks[0] == NO_HISTORY


def test_no_steps_is_a_plan_that_says_what_to_do():
    plan = plan_day(state_of(()), request(60), values=())
    assert plan.periods == ()
    assert plan.remarks == (NO_STEPS,)


def test_waiting_topics_stay_out():
    state, values = ready()
    changed = state_of((5, 5, 5, 5, 5))
    changed.topics["t0"] = msgspec.structs.replace(state.topics["t0"], place=Place.WAITING)
    plan = plan_day(changed, request(120), values=values)
    assert "t0" not in {s.topic_id for s in plan.slots}


def test_nothing_worth_practising_is_said_calmly():
    state = state_of((2,))
    values = [value("t0s0", available=False), value("t0s1", available=False)]
    plan = plan_day(state, request(60), values=values)
    assert plan.periods == ()
    assert plan.remarks[0].startswith("No step gains")


@pytest.mark.parametrize("minutes", [-5, 0, 4])
def test_too_few_minutes(minutes):
    state, values = ready()
    with pytest.raises(PlanError, match="at least 5"):
        plan_day(state, request(minutes), values=values)


def test_five_minutes_are_still_a_plan():
    state, values = ready()
    plan = plan_day(state, request(5), values=values)
    assert 4 <= plan.minutes <= 5


def test_rules_come_from_the_settings():
    chosen = {"period_cap": "40", "slot_least": "20", "slot_most": "25"}
    rules = rules_of(state_of((), settings=chosen))
    assert (rules.period_cap_min, rules.slot_least_min, rules.slot_most_min) == (40, 20, 25)
    rules = rules_of(state_of((), settings={"slot_least": "20"}))  # above the longest slot
    assert (rules.slot_least_min, rules.slot_most_min) == (4, 12)


def test_spare_slots_stand_ready_within_the_topics():
    state, values = ready()
    plan = plan_day(state, request(60), values=values)
    topics = {s.topic_id for s in plan.slots}
    assert 2 <= len(plan.spare) <= 3
    assert {s.topic_id for s in plan.spare} <= topics
    assert {s.id for s in plan.spare}.isdisjoint(s.id for s in plan.slots)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_more_minutes_bring_in_what_was_said_to_come_in(seed):
    """“It needs about 10 min more” is so, where no break comes between."""
    state = state_of((4, 4, 4), settings={"period_cap": "60"})
    values = random_values(state, seed)
    plan = plan_day(state, request(30), values=values)
    promised = {}
    for out in plan.left_out:
        found = re.search(r"it needs about (\d+) min more", out.reason)
        if found and int(found[1]) <= 30:
            promised[out.step_id] = int(found[1])
    assert promised
    for step_id, extra in promised.items():
        longer = plan_day(state, request(30 + extra), values=values)
        assert step_id in {s.step_id for s in longer.slots}


def test_while_no_topic_is_current_the_waiting_ones_are_proposed():
    state = state_of((2, 2))
    for topic in state.topics.values():
        state.topics[topic.id] = msgspec.structs.replace(topic, place=Place.WAITING)
    plan = plan_day(state, request(30), values=[value(i) for i in state.steps])
    assert plan.remarks[0] == NONE_CURRENT
    assert len(plan.slots) >= 2


def test_a_first_slot_is_not_the_shortest():
    state = state_of((6, 6))
    values = [value(i, half=1.0, most=12) for i in state.steps]
    longer = rules_of(state).slot_least_min + FIRST_MORE_MIN
    assert min(s.minutes for s in plan_day(state, request(60), values=values).slots) >= longer
    for step_id in state.steps:
        state.keep_work(work_on(step_id, 2, 5.0), "work")
    assert min(s.minutes for s in plan_day(state, request(60), values=values).slots) < longer
