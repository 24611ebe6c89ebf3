"""A met step is asked back before its chance has fallen below what the player wants."""

from datetime import timedelta

import numpy as np
import pytest
from builders import DAY, random_values, request, state_of, try_on, value, work_on
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from coldtake.domain.plan import AskedAgain, SlotKind, Wish
from coldtake.domain.topic import Exercise, PassageRef, StepPhase
from coldtake.learning.posterior import beliefs
from coldtake.planning.day.keeping import (
    LONGEST_DAYS,
    SHARE_MIN,
    asked_for,
    days_until,
    due_by,
    gap_days,
    kept_steps,
    mean_chances,
    most_asked,
    worth,
)
from coldtake.planning.day.keeping_words import when_words
from coldtake.planning.day.plan_day import plan_day

MET = (StepPhase.MET, StepPhase.HELD)


def met(state, step_id, *days_ago):
    """Played clean on these days, the first of them the day on which it was met."""
    for ago in sorted(days_ago, reverse=True):
        for n in range(2):
            tried = try_on(step_id, ago)
            state.keep_try(type(tried)(**{**_fields(tried), "id": f"{tried.id}-{n}"}), "met")
        state.keep_work(work_on(step_id, ago, 8.0), "work")


def _fields(record):
    return {name: getattr(record, name) for name in record.__struct_fields__}


def lived(sizes, ago_by_step, **more):
    state = state_of(sizes, **more)
    for step_id, ago in ago_by_step.items():
        met(state, step_id, *ago)
    return state


def colds(plan):
    return [s.step_id for s in plan.slots if s.kind is SlotKind.COLD]


def test_a_step_met_six_days_ago_is_asked_back_when_it_is_due():
    state = lived((3, 3), {"t0s0": [6]})
    [kept] = kept_steps(state, DAY)
    assert kept.on <= DAY
    plan = plan_day(state, request(60), values=[value(i) for i in state.steps])
    assert colds(plan) == ["t0s0"]
    [slot] = [s for s in plan.slots if s.kind is SlotKind.COLD]
    assert slot.reason.endswith(" That is below your limit of 70 in 100.")


def test_the_day_is_the_last_on_which_the_chance_is_as_high_as_wanted():
    """By brute force over every day, with the model's own chances."""
    ago = {f"t0s{n}": [30 - n, 20 - n, 12, 6, 5 - n] for n in range(5)}
    state = lived((5,), ago)
    b = beliefs(state, DAY, list(state.steps))
    ahead = np.array([mean_chances(b, float(d)) for d in range(LONGEST_DAYS + 1)])
    assert (np.diff(ahead, axis=0) <= 0.0).all()
    for wanted in (0.3, 0.5, 0.7, 0.85):
        expected = np.maximum((ahead[:LONGEST_DAYS] >= wanted).sum(axis=0) - 1, 0)
        assert days_until(b, wanted) == pytest.approx(expected)


def test_a_higher_wish_asks_no_later():
    state = lived((4,), {f"t0s{n}": [25, 18, 9, 3 + n] for n in range(4)})
    days = []
    for wanted in ("30", "50", "70", "90"):
        state.settings["keep_chance"] = wanted
        days.append([k.on for k in kept_steps(state, DAY)])
    for sooner, later in zip(days[1:], days, strict=False):
        assert all(a <= b for a, b in zip(sooner, later, strict=True))
    state.settings["keep_chance"] = "0"
    assert kept_steps(state, DAY) == ()


@settings(max_examples=20, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    sizes=st.lists(st.integers(1, 6), min_size=1, max_size=4).map(tuple),
    minutes=st.integers(15, 120),
    ago=st.lists(st.integers(1, 30), min_size=1, max_size=12),
)
def test_what_is_due_is_asked_or_waits_and_is_named(seed, sizes, minutes, ago):
    """Whatever minutes are worth: all that is due, or as many as the session asks for."""
    state = state_of(sizes)
    for n, days in enumerate(ago):
        if n < len(state.steps):
            met(state, list(state.steps)[n], days)
    for step_id in state.steps:
        if not state.played(step_id):  # so that no topic is due to be touched besides
            state.keep_work(work_on(step_id, 1, 5.0), "work")
    values = random_values(state, seed, cold_share=0.0, open_share=1.0)
    plan = plan_day(state, request(minutes), values=values)
    kept = {k.step_id: k for k in kept_steps(state, DAY)}
    due = {i for i, k in kept.items() if k.on <= due_by(state, DAY)}
    asked = set(colds(plan))
    assert asked <= due
    most = most_asked(minutes, plan.rules.cold_min)
    assert len(asked) == min(len(due), most)
    waiting = {a.step_id for a in plan.asked_again if a.on <= due_by(state, DAY)}
    begun = {s.step_id for s in plan.slots if s.begins_cold}
    assert waiting == due - asked - begun
    low, high = ([worth(state, DAY, kept[i]) for i in ids] for ids in (waiting, asked))
    assert not low or not high or max(low) <= min(high) + 1e-12
    left = {o.step_id: o.reason for o in plan.left_out}
    assert all("cold take is due" in left[i] for i in waiting if i in left)


def test_what_comes_in_the_next_days_is_told_with_its_day():
    state = lived((3, 3), {"t0s0": [60, 50, 38, 22, 1], "t0s1": [3]})
    plan = plan_day(state, request(60), values=[value(i) for i in state.steps])
    kept = {k.step_id: k.on for k in kept_steps(state, DAY)}
    week = {i for i, on in kept.items() if on <= DAY + timedelta(days=7)} - set(colds(plan))
    assert {a.step_id: a.on for a in plan.asked_again} == {i: kept[i] for i in week}


def test_who_plays_every_third_day_is_asked_sooner():
    daily, seldom = state_of((2,)), state_of((2,))
    for ago in range(1, 29):
        daily.keep_work(work_on("t0s0", ago, 8.0), "work")
        if ago % 3 == 0:
            seldom.keep_work(work_on("t0s0", ago, 8.0), "work")
    assert gap_days(daily, DAY) == 1
    assert gap_days(seldom, DAY) == 2  # the first guess of a daily player still counts
    assert due_by(seldom, DAY) == DAY + timedelta(days=1)


def test_of_many_the_most_valuable_come_first():
    state = lived((4, 4), {i: [8] for i in ("t0s0", "t0s1", "t1s0", "t1s1")})
    topic = state.topics["t1"]
    state.topics["t1"] = type(topic)(**{**_fields(topic), "importance": 5})
    kept = kept_steps(state, DAY)
    assert {k.step_id for k in asked_for(state, DAY, kept, 12, 2)} == {"t1s0", "t1s1"}
    assert len(asked_for(state, DAY, kept, 5, 2)) == 1


def test_the_same_bars_are_asked_for_twice_only_when_all_others_were():
    """A slow and a fast step of the same bars: the second try on an evening is hardly cold."""
    state = lived((4,), {f"t0s{n}": [6] for n in range(4)})
    for n in range(4):
        step = state.steps[f"t0s{n}"]
        bars = PassageRef(passage_id="p", first_bar=1 + 4 * (n // 2), last_bar=4 + 4 * (n // 2))
        state.steps[step.id] = replace(step, exercise=Exercise(passage=bars, tempo_bpm=60 + n))
    kept = kept_steps(state, DAY)
    two = asked_for(state, DAY, kept, 2 * SHARE_MIN * 2, 2)
    assert len({state.steps[k.step_id].exercise.passage for k in two}) == 2
    assert len(asked_for(state, DAY, kept, 4 * SHARE_MIN * 2, 2)) == 4


def test_no_cold_take_waits_with_which_a_slot_for_work_begins():
    """Three are asked for and 15 minutes hold two; the third step is worked on, at first cold."""
    state = lived((3,), {f"t0s{n}": [6] for n in range(3)})
    values = [value(i, best=50.0 * (i == "t0s2") + 0.1) for i in state.steps]
    plan = plan_day(state, request(15), values=values)
    [work] = [s for s in plan.slots if s.kind is SlotKind.WORK]
    assert work.begins_cold
    waiting = {a.step_id for a in plan.asked_again}
    assert waiting.isdisjoint({s.step_id for s in plan.slots})


def test_what_the_player_took_out_does_not_wait_for_minutes():
    """A singer's week: “You took it out.” and, below, “It waits for minutes.” of one step."""
    state = lived((2, 2), {"t0s0": [6]})
    refused = Wish(step_id="t0s0", kind=SlotKind.COLD, refused=True)
    plan = plan_day(state, request(30, refused), values=[value(i) for i in state.steps])
    [asked] = plan.asked_again
    assert when_words(asked, plan, 70).endswith("Removed by you.")


@pytest.mark.parametrize(
    ("chance", "said"),
    [
        (0.44, "Due. Chance of a clean first try: 44 in 100. Your limit: 70 in 100. There is no"),
        (
            0.71,
            "Due. Chance of a clean first try: 71 in 100. Your limit: 70 in 100. It falls below",
        ),
    ],
)
def test_what_is_due_above_the_wanted_chance_says_why(chance, said):
    state = lived((1,), {"t0s0": [6]})
    plan = plan_day(state, request(15), values=[value("t0s0")])
    assert when_words(
        AskedAgain(step_id="t0s0", topic_id="t0", on=DAY, chance=chance), plan, 70
    ).startswith(said)


@pytest.mark.parametrize("minutes", [25, 45, 60])
def test_most_minutes_are_for_work_however_much_cold_takes_tell(minutes):
    state = lived((6, 6), {})
    values = [value(i, best=1.0, cold=30.0) for i in state.steps]
    plan = plan_day(state, request(minutes), values=values)
    cold = sum(s.minutes for s in plan.slots if s.kind is SlotKind.COLD)
    assert 0 < cold <= minutes // 3
    breaks = (len(plan.periods) - 1) * plan.rules.break_min
    assert sum(s.minutes for s in plan.slots) + breaks >= minutes - 2


def test_with_nothing_to_work_on_cold_takes_may_have_all_of_it():
    state = lived((6, 6), {})
    values = [value(i, best=0.0, cold=30.0) for i in state.steps]
    plan = plan_day(state, request(25), values=values)
    assert sum(s.minutes for s in plan.slots if s.kind is SlotKind.COLD) > 25 // 3
