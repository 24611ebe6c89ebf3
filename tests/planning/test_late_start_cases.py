"""What stays of a late start, by cases that the page is tested with as well (`tests/cases`)."""

import json
from pathlib import Path

import msgspec
import pytest

from coldtake.domain.plan import PlanRules
from coldtake.planning.day.late_start import late_starts, trim
from making import plan, slot, step

FILE = Path(__file__).parents[1] / "cases" / "late_starts.json"
CASES = json.loads(FILE.read_text(encoding="utf-8"))


def plan_of(case):
    """Each slot is [minutes, points] and, where it matters, "pinned" or its step."""
    periods = []
    for p, period in enumerate(case["periods"]):
        slots = []
        for n, (minutes, gain, *more) in enumerate(period):
            pinned = "pinned" in more
            name = more[0] if more and not pinned else f"{p}.{n}"
            one = slot(step(name), minutes=minutes, name=f"{p}.{n}")
            slots.append(msgspec.structs.replace(one, gain=gain, pinned=pinned))
        periods.append(tuple(slots))
    return plan(*periods, rules=PlanRules(break_min=case["break_min"]))


@pytest.mark.parametrize("case", CASES, ids=[c["name"] for c in CASES])
def test_what_stays(case):
    day = plan_of(case)
    told = late_starts(day)
    assert json.loads(msgspec.json.encode(told)) == case["table"], (
        "what the page looks up has changed"
    )
    for left, minutes in case["left"].items():
        short = trim(day, int(left))
        assert {s.id: s.minutes for s in short.slots} == {
            s.id: m for s, m in zip(day.slots, minutes, strict=True) if m
        }
        assert short.minutes <= int(left)


def test_twelve_minutes_of_ten_six_and_six():
    """The case of which the greedy rule kept 10.0 points."""
    assert trim(plan_of(CASES[0]), 12).value == 11.7
