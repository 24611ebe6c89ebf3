"""The rules of a plan find what breaks them (common practice, no source)."""

import pytest

from coldtake.domain.plan import PlanRules, SlotKind, violations
from making import plan, slot, step

ONE, TWO = step("one"), step("two")
OTHER = step("other", of="tune")


def broken(*periods, **fields) -> list[tuple[str, bool]]:
    return [(v.rule, v.hard) for v in violations(plan(*periods, **fields))]


def test_a_good_plan_breaks_nothing():
    cold = slot(OTHER, kind=SlotKind.COLD, minutes=2)
    assert broken((cold, slot(ONE), slot(OTHER)), (slot(TWO),), minutes=37) == []


def test_a_period_over_the_cap():
    rules = PlanRules(period_cap_min=40)
    assert broken((slot(ONE, minutes=40),), rules=rules) == []
    assert broken((slot(ONE, minutes=41),), rules=rules) == [("period_cap", False)]


def test_sixty_minutes_is_hard_whatever_the_settings():
    rules = PlanRules(period_cap_min=60)
    long = (slot(ONE, minutes=31), slot(OTHER, minutes=30))
    assert broken(long, minutes=90, rules=rules) == [("hard_cap", True)]


def test_breaks_count_into_the_time_given():
    periods = ((slot(ONE, minutes=30),), (slot(OTHER, minutes=30),))
    assert broken(*periods, minutes=65) == []
    assert broken(*periods, minutes=64) == [("time_given", True)]


def test_neighbours_across_a_break_are_neighbours():
    assert broken((slot(ONE),), (slot(ONE, name="again"),)) == [("neighbours", False)]


def test_a_cold_take_after_work_on_its_topic():
    late = slot(TWO, kind=SlotKind.COLD, minutes=2)
    assert broken((slot(ONE), late)) == [("cold_first", False)]
    assert broken((slot(OTHER), late)) == []


def test_too_many_topics():
    slots = tuple(slot(step(str(n), of=str(n)), minutes=5) for n in range(3))
    assert broken(slots, rules=PlanRules(topics_most=2)) == [("topics_most", False)]


@pytest.mark.parametrize("minutes", [31, 61])
def test_words_name_the_value_and_the_limit(minutes):
    words = violations(plan((slot(ONE, minutes=minutes),), minutes=90))[0].words
    assert str(minutes) in words
    assert "30" in words or "60" in words
