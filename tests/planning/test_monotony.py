"""More importance or a nearer date never means fewer minutes over the week, to a slot.

Weeks lived with the plans, each with and without the change (`bench/planning/monotony.py`). To the
minute it cannot be: an evening's part of a topic that is smaller than a slot is played as a whole
slot on some evenings, and a week can end just before one of them.
"""

import importlib.util
from datetime import timedelta
from pathlib import Path

import pytest
from builders import DAY, state_of, work_on

from coldtake.planning.day.going_round import WINDOW_DAYS, rotation_of
from coldtake.planning.day.plan_day import rules_of

BENCH = Path(__file__).parents[2] / "bench" / "planning" / "monotony.py"
TOPICS = (3, 4)
SLOT = 12


@pytest.fixture(scope="module")
def monotony():
    spec = importlib.util.spec_from_file_location("monotony", BENCH)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("seed", range(1, 6))
def test_a_raised_topic_has_no_fewer_minutes_over_the_week(monotony, seed):
    """Of any worth, drawn anew for each evening; of every second seed the lookahead's own."""
    worth = monotony.any_worth(seed) if seed % 2 else None
    changes = list(monotony.changes(seed, TOPICS))
    assert changes
    base = monotony.life(seed, None, TOPICS)
    assert rules_of(base.state).slot_most_min == SLOT
    before = sum(monotony.week(base, changes[0].topic_id, worth))
    for change in changes:
        after = sum(monotony.week(monotony.life(seed, change, TOPICS), change.topic_id, worth))
        assert after >= before - SLOT, change


def test_what_was_played_this_week_changes_no_weight_before_it_is_over():
    """Else what a topic got on the first days would take from its part of all of them."""
    state = state_of((3, 3, 3))
    rules = rules_of(state)

    def weights(on):
        return list(rotation_of(state, on, rules, dict.fromkeys(state.topics, True), 60).weight)

    before = weights(DAY)
    state.keep_work(work_on("t0s0", 0, 30.0), "work")
    days = [DAY + timedelta(days=n) for n in range(1, WINDOW_DAYS + 2)]
    later = [weights(on) for on in days]
    assert later[:-1] == [before] * WINDOW_DAYS
    assert later[-1][0] < before[0]
    assert later[-1][1:] == before[1:]
