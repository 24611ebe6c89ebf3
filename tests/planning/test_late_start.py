"""A late start drops the least valuable slots and moves no break."""

from itertools import combinations, pairwise

import msgspec
import numpy as np
import pytest
from builders import random_values, ready, request, state_of, try_on
from hypothesis import given, settings
from hypothesis import strategies as st

from coldtake.domain.plan import SlotKind, violations
from coldtake.planning.day import changes
from coldtake.planning.day.late_start import late_starts, trim
from coldtake.planning.day.plan_day import plan_day


def plan_of(minutes, seed=1, sizes=(5, 5, 5, 5, 5)):
    state = state_of(sizes)
    return plan_day(state, request(minutes), values=random_values(state, seed))


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 500), minutes=st.integers(20, 120), left=st.integers(0, 120))
def test_trimmed_plans_fit_and_keep_breaks(seed, minutes, left):
    plan = plan_of(minutes, seed)
    short = trim(plan, left)
    assert short.minutes <= max(left, 0) or short == plan
    assert violations(short) == ()
    where = {s.id: n for n, p in enumerate(plan.periods) for s in p.slots}
    kept = [[where[s.id] for s in p.slots] for p in short.periods]
    assert all(len(set(row)) == 1 for row in kept)  # no period is joined with another
    assert [row[0] for row in kept] == sorted({n for row in kept for n in row})
    order = [s.id for s in plan.slots if s.id in {k.id for k in short.slots}]
    assert [s.id for s in short.slots] == order


def may_stand(plan, kept):
    """No two slots of one step side by side that were apart."""
    order = [s.id for s in plan.slots]
    return all(
        a.step_id != b.step_id or order.index(b.id) == order.index(a.id) + 1
        for a, b in pairwise(kept)
    )


def worth(plan, slots):
    """Points; the first cold take counts like twice its minutes of work, the last hardly."""
    work = [s for s in plan.slots if s.kind is SlotKind.WORK]
    each = sum(s.gain for s in work) / sum(s.minutes for s in work)
    cold = sorted((s for s in plan.slots if s.kind is SlotKind.COLD), key=lambda s: -s.gain)
    share = {s.id: 2 * (len(cold) - n) / (len(cold) + 1) for n, s in enumerate(cold)}
    assert not cold or sum(share.values()) / len(cold) == pytest.approx(1.0)
    return sum(max(s.gain, each * s.minutes * share.get(s.id, 0.0)) for s in slots)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_what_is_kept_is_worth_most_for_every_number_of_minutes(seed):
    """By trying every set of slots."""
    plan = plan_of(60, seed)
    best = np.zeros(plan.minutes + 1)
    for size in range(1, len(plan.slots) + 1):
        for kept in combinations(plan.slots, size):
            used = [any(s in p.slots for s in kept) for p in plan.periods]
            took = sum(s.minutes for s in kept) + (sum(used) - 1) * plan.rules.break_min
            if may_stand(plan, kept):
                best[took] = max(best[took], worth(plan, kept))
    most = np.maximum.accumulate(best)
    shortest = min(s.minutes for s in plan.slots)
    for left in range(shortest, plan.minutes + 1):
        assert worth(plan, trim(plan, left).slots) == pytest.approx(most[left], abs=1e-6), left


def test_a_long_day_is_worked_out_at_once():
    state = state_of((8,) * 8)
    plan = plan_day(state, request(240), values=random_values(state, 4))
    starts = late_starts(plan)
    assert [r.minutes_left for r in starts.rows] == sorted({r.minutes_left for r in starts.rows})
    assert starts.rows[-1].minutes == tuple(s.minutes for s in plan.slots)


def test_enough_time_changes_nothing():
    plan = plan_of(60)
    assert trim(plan, plan.minutes) is plan


def test_pinned_slots_go_last():
    state, values = ready()
    plan = plan_day(state, request(60), values=values)
    least = min(plan.slots, key=lambda s: s.gain)
    plan = plan_day(state, changes.pin(plan, least.id), values=values)
    assert least.id in {s.id for s in trim(plan, 6).slots}


def test_what_was_dropped_stands_ready():
    plan = plan_of(60)
    short = trim(plan, 30)
    gone = {s.id for s in plan.slots} - {s.id for s in short.slots}
    assert {s.id for s in short.spare[: len(gone)]} == gone


def test_hardly_any_time_left():
    plan = plan_of(60)
    assert [s.minutes for s in trim(plan, 1).slots] == [1]
    assert trim(plan, 0).periods == ()
    assert trim(plan, -10).periods == ()


def test_a_late_start_keeps_cold_takes_beside_work():
    """Those asked for add hardly a point, and yet they were put before work: some of both stay."""
    state = state_of((6, 6))
    for step_id in state.steps:
        if step_id.endswith(("0", "1", "2")):
            for n in range(2):
                tried = try_on(step_id, 6)
                state.keep_try(msgspec.structs.replace(tried, id=f"{tried.id}-{n}"), "met")
    values = random_values(state, 3, cold_share=0.0, open_share=1.0)
    plan = plan_day(state, request(60), values=values)
    cold = [s for s in plan.slots if s.kind is SlotKind.COLD]
    assert len(cold) > 3
    for left in range(plan.minutes * 2 // 3, plan.minutes):
        kinds = {s.kind for s in trim(plan, left).slots}
        assert kinds == {SlotKind.COLD, SlotKind.WORK}, left
