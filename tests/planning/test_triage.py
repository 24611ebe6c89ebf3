"""Triage: what fits until the dates, against brute force and another published algorithm."""

from datetime import timedelta
from itertools import combinations

import numpy as np
import pytest

from coldtake.domain import events as ev
from coldtake.domain.topic import Place
from coldtake.planning.on_time import UNIT_MIN, Candidate, best_set
from coldtake.planning.places import turns_of
from coldtake.planning.supposed import WhatIf
from coldtake.planning.triage import triage
from logs import DAY, Log

TODAY = DAY + timedelta(days=7)


def drawn(rng, count, *, equal=False):
    return [
        Candidate(
            f"t{n}",
            minutes=float(rng.integers(5, 90)),
            left=int(rng.integers(1, 12)),
            worth=1.0 if equal else float(rng.integers(1, 20)),
        )
        for n in range(count)
    ]


def in_time(some, per_day):
    used = 0
    for one in sorted(some, key=lambda c: c.left):
        used += one.units
        if used > int(per_day * one.left / UNIT_MIN + 1e-9):
            return False
    return True


def by_brute_force(candidates, per_day):
    sets = (s for n in range(len(candidates) + 1) for s in combinations(candidates, n))
    return max(sum(c.worth for c in s) for s in sets if in_time(s, per_day))


@pytest.mark.parametrize("seed", range(200))
def test_the_best_set_is_the_best_of_all_sets(seed):
    rng = np.random.default_rng(seed)
    candidates, per_day = drawn(rng, int(rng.integers(1, 9))), float(rng.integers(5, 40))
    chosen = [c for c in candidates if c.topic_id in best_set(candidates, per_day)]
    assert in_time(chosen, per_day)
    assert sum(c.worth for c in chosen) == pytest.approx(by_brute_force(candidates, per_day))


def most_in_time(candidates, per_day):
    """Moore 1968, Management Science 15:102 (from memory): by date; when late, drop the longest."""
    kept = []
    for one in sorted(candidates, key=lambda c: c.left):
        kept.append(one)
        if sum(c.units for c in kept) > int(per_day * one.left / UNIT_MIN + 1e-9):
            kept.remove(max(kept, key=lambda c: c.units))
    return len(kept)


@pytest.mark.parametrize("seed", range(40))
def test_equal_worth_is_the_number_of_late_jobs(seed):
    rng = np.random.default_rng(1000 + seed)
    candidates = drawn(rng, 30, equal=True)
    assert len(best_set(candidates, 30.0)) == most_in_time(candidates, 30.0)


def test_more_minutes_never_lower_what_fits():
    rng = np.random.default_rng(7)
    for _ in range(20):
        candidates = drawn(rng, 12)
        worth = {c.topic_id: c.worth for c in candidates}
        found = [sum(worth[i] for i in best_set(candidates, m)) for m in (5.0, 10.0, 20.0, 60.0)]
        assert found == sorted(found)


def test_nothing_fits_into_no_minutes():
    assert best_set(drawn(np.random.default_rng(1), 5), 0.0) == frozenset()
    assert best_set([], 30.0) == frozenset()


def on(days):
    return DAY + timedelta(days=days)


def pile(topics, *, current=2):
    """Topics (id, steps, days to the date or None, importance); the first few are current."""
    log = Log()
    for n, (name, steps, days, importance) in enumerate(topics):
        date = None if days is None else on(days)
        log.topic(name, steps, on=date, importance=importance, need=60)
        if n >= current:
            log.put(ev.TopicPlaced(topic_id=name, place=Place.WAITING))
    return log


def ids(some):
    return [t.topic_id for t in some]


def test_what_fits_is_taken_on_and_the_rest_is_left_out_with_what_it_would_take():
    log = pile([("a", 4, 30, 4), ("b", 4, 30, 4), ("c", 10, 30, 1)])
    found = triage(log.state, TODAY, per_day=40.0)
    assert set(ids(found.now)) == {"a", "b"}
    (out,) = found.left_out
    assert out.topic_id == "c"
    assert out.alone
    assert not out.blocks
    assert out.minutes > 0
    assert out.with_more_min in range(5, 61, 5)
    more = triage(log.state, TODAY, per_day=40.0 + out.with_more_min)
    assert "c" in ids(more.now)
    less = triage(log.state, TODAY, per_day=40.0 + out.with_more_min - 5)
    assert "c" in ids(less.left_out)
    assert set(out.instead_of) <= {"a", "b"}


def test_raising_the_importance_does_what_was_said():
    topics = [("a", 6, 30, 3), ("b", 6, 30, 3), ("c", 6, 30, 2)]
    (out,) = triage(pile(topics).state, TODAY, per_day=50.0).left_out
    assert out.topic_id == "c"
    assert out.with_importance
    risen = triage(pile([*topics[:2], ("c", 6, 30, 5)]).state, TODAY, per_day=50.0)
    assert "c" not in ids(risen.left_out)


def test_no_more_are_current_than_the_player_s_limit_and_each_has_its_turn():
    log = pile([(f"t{n}", 3, 80, 3) for n in range(7)], current=2)
    log.put(ev.SettingChosen(name="current_topics", value="3"))
    found = triage(log.state, TODAY, per_day=60.0)
    assert (len(found.now), len(found.later), len(found.left_out)) == (3, 4, 0)
    assert {"t0", "t1"} <= set(ids(found.now))  # what has begun keeps its place
    turns = [t.turn for t in found.later]
    middles = [t.middle for t in turns if t.middle]
    assert middles == sorted(middles)
    for turn in turns:
        known = [d for d in (turn.early, turn.middle, turn.late) if d]
        assert known == sorted(known)
        assert all(d > TODAY for d in known)


def test_a_topic_whose_date_is_past_blocks_its_place():
    log = pile([("old", 4, 3, 3), ("b", 4, 30, 3)])
    found = triage(log.state, TODAY, per_day=60.0)
    (old,) = found.left_out
    assert (old.topic_id, old.past, old.blocks) == ("old", True, True)
    assert found.what_if == WhatIf(leave=("old",))


def test_a_topic_that_cannot_come_out_any_more_blocks_its_place():
    log = pile([("big", 20, 9, 5), ("b", 4, 30, 3)])
    (out,) = triage(log.state, TODAY, per_day=30.0).left_out
    assert (out.topic_id, out.alone, out.blocks) == ("big", False, True)
    assert out.minutes > out.minutes_there
    assert not out.with_importance
    assert out.instead_of == ()


def test_a_kept_up_topic_takes_no_place():
    log = pile([("kept", 1, 40, 3), *((f"t{n}", 2, 60, 3) for n in range(4))], current=5)
    log.practised("kept.0", [0, 2, 4])
    found = triage(log.state, TODAY, per_day=60.0)
    assert {t.topic_id for t in found.now if t.kept_up} == {"kept"}
    assert len(found.now) == 5
    assert found.what_if == WhatIf()


def test_what_was_laid_aside_stays_there_and_an_empty_pile_is_one():
    log = pile([("a", 2, 30, 3), ("b", 2, 30, 3)])
    log.put(ev.TopicPlaced(topic_id="b", place=Place.LAID_ASIDE))
    found = triage(log.state, TODAY)
    assert ids(found.now) == ["a"]
    assert ids([*found.later, *found.left_out]) == []
    empty = triage(Log().state, TODAY)
    assert (empty.now, empty.later, empty.left_out) == ((), (), ())


def test_equal_logs_give_equal_proposals():
    log = pile([("a", 2, 30, 3), ("b", 2, None, 3), ("c", 0, None, 3)])
    assert triage(log.state, TODAY) == triage(log.state, TODAY)


def test_places_come_free_in_order():
    """Two places free on days 3 and 5; each who waits holds one for 4 days: 3, 5, 7, 9."""
    ready = {"a": np.full((1, 20), 3.0), "b": np.full((1, 20), 5.0)}
    waiting = [(name, 4.0, np.inf) for name in "wxyz"]
    found = turns_of(ready, {}, 0, waiting, TODAY)
    assert [(found[n].middle - TODAY).days for n in "wxyz"] == [3, 5, 7, 9]


def test_a_date_before_its_turn_is_said_and_the_next_goes_ahead():
    ready = {"a": np.full((1, 10), 6.0)}
    found = turns_of(ready, {}, 0, [("late", 4.0, 5.0), ("next", 4.0, np.inf)], TODAY)
    assert (found["late"].middle, found["late"].date_first) == (None, 1.0)
    assert (found["next"].middle - TODAY).days == 6


def test_a_place_is_free_at_once_or_not_in_sight():
    never = {"a": np.full((2, 10), -1.0)}
    found = turns_of(never, {}, 1, [("x", 200.0, np.inf), ("y", 4.0, np.inf)], TODAY)
    assert found["x"].middle == TODAY
    assert (found["y"].middle - TODAY).days >= 200
    assert turns_of(never, {}, 0, [("x", 4.0, np.inf)], TODAY)["x"].early is None
    dated = turns_of(never, {"a": 9}, 0, [("x", 4.0, np.inf)], TODAY)["x"]
    assert (dated.middle - TODAY).days == 11  # nine days from tomorrow, and the day after
