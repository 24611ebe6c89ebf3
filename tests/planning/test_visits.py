"""How many visits each step gets: against brute force, and what must hold over random states."""

from datetime import timedelta
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldtake.learning import memory_law
from coldtake.planning.value import visits
from coldtake.planning.value.lookahead import DRAWS, begun, seeded
from coldtake.planning.value.priority_index import topic_rows
from coldtake.planning.value.step_arrays import thinned
from logs import DAY, Log


def on(days):
    return DAY + timedelta(days=days)


def ahead_of(log, day=0):
    state = log.state
    start = begun(state, on(day), 20.0, DRAWS, seeded(state, on(day)))
    thin = thinned(start.beliefs, start.steps.rows)
    return visits.Ahead.of(start.steps, thin, start.never)


def shared(ahead, per_day):
    return visits.shared_out(ahead, visits.offers(ahead), topic_rows(ahead.steps), per_day)


@pytest.fixture(scope="module")
def mixed():
    log = Log().topic("a", 3, chain=True, on=on(30)).topic("b", 2, on=on(50)).topic("c", 2)
    for day, yes in ((0, False), (2, True), (5, True)):
        log.answer("a.0", yes, day).work("a.0", 8, day)
    return ahead_of(log, 6)


def test_visits_lived_one_by_one_are_the_law_applied_one_by_one(mixed):
    """The worth of two visits, by hand for one particle of one step."""
    made = visits.offers(mixed)
    row, thin = 0, mixed.thin
    left, ends = float(mixed.left[row, 0]), []
    for m in range(thin.skill.shape[1]):
        shape = memory_law.SHAPES[thin.shape[row, m]]
        skill, hold = thin.skill[row, m], thin.half_life[row, m]
        for gap in (float(thin.gap[row, 0]), left / 2.0):
            skill, hold = memory_law.after_day(
                skill, hold, gap, visits.VISIT_MIN, thin.rate[row, m], shape.kinds
            )
        kept = memory_law.retention(left / 2.0, hold, shape.psi)
        ends.append(memory_law.clean_chance(skill * kept, thin.span[row, m]))
    assert made.clean[row, 2] == pytest.approx(np.mean(ends))


def test_the_shares_are_best_of_all_that_ask_for_no_more_minutes(mixed, monkeypatch):
    """Everett's theorem, held against every combination of four numbers of visits."""
    monkeypatch.setattr(visits, "WHOLE", 0.0)
    monkeypatch.setattr(visits, "COUNTS", np.array([0, 2, 5, 10]))
    made, per_day = visits.offers(mixed), 6.0
    found = visits.shared_out(mixed, made, topic_rows(mixed.steps), per_day)
    weight, left = mixed.steps.weight, mixed.left[:, 0]
    daily = visits.COUNTS[None, :] * visits.VISIT_MIN / left[:, None]
    own = np.searchsorted(visits.COUNTS, found.visits)
    rows = np.arange(len(weight))
    paid = found.price * visits.COUNTS * visits.VISIT_MIN

    def net(chosen):
        return float((weight * made.worth[rows, chosen] - paid[chosen]).sum())

    best = max(net(np.array(c)) for c in product(range(4), repeat=len(weight)))
    assert net(own) == pytest.approx(best)
    assert daily[rows, own].sum() <= visits.COUNTED_ON * per_day


@settings(max_examples=10, deadline=None)
@given(st.floats(2.0, 30.0), st.floats(1.1, 3.0))
def test_more_minutes_a_day_never_make_a_minute_dearer(mixed, per_day, times):
    made, topics = visits.offers(mixed), {}
    little = visits.shared_out(mixed, made, topics, per_day)
    more = visits.shared_out(mixed, made, topics, per_day * times)
    assert more.price <= little.price
    assert np.all(more.visits >= little.visits)


def test_a_weightier_or_nearer_step_gets_no_fewer_minutes_a_day():
    def daily(importance, date_in):
        log = Log().topic("a", 2, on=on(60)).topic("b", 2, on=on(date_in), importance=importance)
        ahead = ahead_of(log)
        got = shared(ahead, 12.0).visits / ahead.left[:, 0]
        return got[[t == "b" for t in ahead.steps.topics]].sum()

    assert daily(5, 60) >= daily(3, 60) >= daily(1, 60)
    assert daily(3, 30) >= daily(3, 60)


def test_what_others_wait_for_is_worth_its_minutes(mixed):
    shares = shared(mixed, 15.0)
    gap, never = mixed.thin.gap[:, 0], mixed.fades[:, 0] == 0.0
    worth = visits.openers(mixed.steps, shares, gap, never)
    first_unmet = next(i for i, s in enumerate(mixed.steps.ids) if not mixed.steps.done[i])
    behind = [i for i in range(len(worth)) if first_unmet in mixed.steps.needs[i]]
    assert (worth[first_unmet] > 0.0) == any(shares.visits[i] > 0 for i in behind)
    assert worth[[i for i, t in enumerate(mixed.steps.topics) if t == "b"]].sum() == 0.0


def test_a_visit_is_worth_more_the_longer_it_is(mixed):
    worth = visits.gains(mixed, shared(mixed, 15.0), (2.0, 4.0, 8.0, 12.0))
    assert np.all(np.diff(worth, axis=1) > -1e-9)
