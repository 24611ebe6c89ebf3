"""The choice of topics, steps and minutes against brute force, and what more minutes do to it."""

import itertools
import random

import numpy as np
import pytest
from builders import concave, random_values, state_of, value
from hypothesis import given, settings
from hypothesis import strategies as st

from coldtake.planning.day.composition.choice import DayChoice, TopicLimits
from coldtake.planning.day.composition.options import Limits, free_options, longest_work

LIMITS = Limits(least=4, most=7, cold=2, tightness=0.8)


def topics_of(values):
    rows = {}
    for row, v in enumerate(values):
        rows.setdefault(v.topic_id, []).append(row)
    return list(rows.values())


def solver(values, budget, least=2, most=2, limits=LIMITS):
    topics = topics_of(values)
    due = [any(values[r].due for r in rows) for rows in topics]
    return DayChoice(free_options(values, limits), topics, due, TopicLimits(least, most), budget)


def work_minutes(v, limits):
    """Minutes of work that the rules allow, written down independently of the table."""
    single, double = longest_work(v.need_left_min, limits)
    one = range(limits.least, single + 1)
    two = range(max(2 * limits.least, single + 1), double + 1)
    worth = v.work_value
    return [0, *(m for m in (*one, *two) if m < len(worth) and worth[m] > 1e-9)]


def options(v, limits=LIMITS):
    """(minutes, points) of every option of one step."""
    if not v.available:
        return [(0, 0.0)]
    colds = [(0, 0.0), *([(limits.cold, v.cold_value)] if v.cold_value > 1e-9 else [])]
    return [(m + c, v.work_value[m] + worth) for m in work_minutes(v, limits) for c, worth in colds]


def combinations(values, minutes, limits):
    """Every combination of options (one a step) of at most so many minutes."""
    if not values:
        yield ()
        return
    for cost, points in options(values[0], limits):
        if cost <= minutes:
            for rest in combinations(values[1:], minutes - cost, limits):
                yield ((cost, points), *rest)


def brute_force(values, minutes, least, most, limits=LIMITS):
    """Best (topics asked for, due topics, points) over every combination of options."""
    wanted = min(least, max(minutes // limits.least, 1))
    best = (0, 0, 0.0)
    for combination in combinations(values, minutes, limits):
        used = {v.topic_id for v, (c, _) in zip(values, combination, strict=True) if c}
        if len(used) > most:
            continue
        due = len({v.topic_id for v in values if v.due} & used)
        points = sum(p for _, p in combination)
        best = max(best, (min(len(used), wanted), due, points))
    return best


def ranked(values, choice, minutes, least, limits=LIMITS):
    used = {values[p.row].topic_id for p in choice.picks}
    due = {v.topic_id for v in values if v.due} & used
    wanted = min(least, max(minutes // limits.least, 1))
    return (min(len(used), wanted), len(due), choice.points)


@pytest.mark.parametrize("seed", range(200))
def test_choice_equals_brute_force(seed):
    rng = random.Random(seed)
    state = state_of(rng.choice([(2, 2, 2), (3, 3), (1, 2, 3), (6,), (1, 1, 1, 3)]))
    values = random_values(state, seed, due_share=0.3)
    minutes, least, most = rng.randint(5, 17), rng.randint(1, 2), rng.randint(2, 3)
    choice = solver(values, 40, least, most).choose(minutes)
    expected = brute_force(values, minutes, least, most)
    assert ranked(values, choice, minutes, least) == pytest.approx(expected, abs=1e-9)
    assert choice.minutes <= minutes


@pytest.mark.parametrize("seed", range(40))
def test_any_shape_of_worth_is_solved(seed):
    """Worth that rises in steps (not concave) is where greedy and Lagrangian rules go wrong."""
    rng = random.Random(1000 + seed)
    state = state_of((2, 2))
    values = []
    for step_id in state.steps:
        rises = np.cumsum([0.0, *(rng.choice([0.0, 0.0, 0.0, 3.0]) for _ in range(14))])
        v = value(step_id, cold=rng.choice([0.0, 1.0]))
        values.append(type(v)(**{**fields(v), "work_value": tuple(map(float, rises))}))
    minutes = rng.randint(8, 26)
    choice = solver(values, 40).choose(minutes)
    expected = brute_force(values, minutes, 2, 2)
    assert ranked(values, choice, minutes, 2) == pytest.approx(expected, abs=1e-9)


def fields(v):
    return {name: getattr(v, name) for name in v.__dataclass_fields__}


@pytest.mark.parametrize("seed", range(40))
def test_bound_is_never_below_the_optimum(seed):
    state = state_of((2, 2, 2))
    values = random_values(state, seed, due_share=0.4)
    made = solver(values, 40, 1, 2)
    for minutes in (6, 12, 16):
        free = brute_force([*map(without_due, values)], minutes, 1, 2)
        assert made.bound(minutes) >= free[2] - 1e-9
        assert made.bound(minutes) >= made.choose(minutes).points - 1e-9


def without_due(v):
    return type(v)(**{**fields(v), "due": False})


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), sizes=st.lists(st.integers(1, 6), min_size=1, max_size=6))
def test_more_minutes_are_never_worth_less(seed, sizes):
    values = random_values(state_of(tuple(sizes)), seed)
    made = solver(values, 120, 1, 4)
    points = [made.choose(m).points for m in range(121)]
    assert all(b >= a - 1e-9 for a, b in itertools.pairwise(points))


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), sizes=st.lists(st.integers(1, 6), min_size=2, max_size=7))
def test_more_minutes_never_keep_the_rules_less(seed, sizes):
    """Topics asked for, then due topics, then points: never falling in this order."""
    values = random_values(state_of(tuple(sizes)), seed, due_share=0.5)
    made = solver(values, 90, 2, 4)
    kept = [ranked(values, made.choose(m), m, 2) for m in range(91)]
    for a, b in itertools.pairwise(kept):
        assert (b[0], b[1], b[2] + 1e-9) >= a


def test_marginal_greed_would_lose_here():
    """One long slot of a step beats the dense start of another: a textbook knapsack trap."""
    values = [
        type(v)(**{**fields(v), "work_value": worth})
        for v, worth in (
            (value("t0s0"), (0.0,) * 4 + (4.4,) * 20),
            (value("t1s0"), (0.0,) * 7 + (7.0,) * 17),
        )
    ]
    choice = solver(values, 10, 1, 2).choose(10)
    assert choice.points == pytest.approx(7.0)  # the denser one (1.1 a minute) blocks the better


def test_ties_take_fewer_minutes_and_the_first_row():
    flat = (0.0,) * 4 + (2.0,) * 8
    values = [
        type(v)(**{**fields(v), "work_value": flat}) for v in map(value, ("t0s0", "t0s1", "t1s0"))
    ]
    choice = solver(values, 20, 1, 1).choose(7)
    assert (choice.minutes, [p.row for p in choice.picks]) == (4, [0])


def test_work_is_a_little_less_than_the_step_would_want():
    limits = Limits(least=4, most=12, cold=2, tightness=0.8)
    assert longest_work(10.0, limits) == (8, 8)
    assert longest_work(2.0, limits) == (4, 4)  # never shorter than the shortest slot
    assert longest_work(15.0, limits) == (12, 12)
    assert longest_work(20.0, limits) == (12, 16)
    assert longest_work(300.0, limits) == (12, 24)


def test_unavailable_steps_have_no_options():
    values = [value("t0s0", cold=2.0, available=False), value("t1s0")]
    made = solver(values, 30, 2, 2)
    assert {p.row for p in made.choose(30).picks} == {1}


def test_concave_rises():
    assert concave(4.0, 6.0)[6] == pytest.approx(2.0)
