"""How many periods a session falls into, and how much playing it holds.

Minutes given include the breaks. With P periods of at most `cap` minutes and breaks of `b`
minutes there is room for min(minutes - (P - 1) b, P cap) minutes of playing; the P with the most
room is taken, the smallest such P. Two hours at a cap of 40 fall into three periods (common
practice, no source).
"""

from collections.abc import Mapping
from dataclasses import dataclass

from coldtake.domain.plan import HARD_PERIOD_MIN, PlanRules


@dataclass(frozen=True, slots=True)
class Layout:
    """Periods of a session: the most minutes of each, and of all together."""

    caps: tuple[int, ...]
    playing_min: int

    @property
    def count(self) -> int:
        """Number of periods."""
        return len(self.caps)


def room(minutes: int, periods: int, rules: PlanRules) -> int:
    """Minutes of a session that are left for playing with so many periods."""
    return minutes - (periods - 1) * rules.break_min


def most_periods(minutes: int, rules: PlanRules) -> int:
    """Most periods worth having: each at least a minute, or one."""
    return max(1, (minutes + rules.break_min) // (rules.break_min + 1))


def layout(
    minutes: int, rules: PlanRules, insisted: Mapping[int, int] | None = None, *, least: int = 1
) -> Layout:
    """Lay out the session; `insisted` gives minutes the player wants in a period (from 0).

    A period the player has overfilled keeps those minutes up to the hard limit. At least `least`
    periods are made where minutes allow.
    """
    wanted = insisted or {}
    first = min(max([least, *(p + 1 for p in wanted)]), most_periods(minutes, rules))
    tried = [
        _with(minutes, rules, wanted, p) for p in range(first, most_periods(minutes, rules) + 1)
    ]
    return max(tried, key=lambda made: (made.playing_min, -made.count))


def _with(minutes: int, rules: PlanRules, wanted: Mapping[int, int], periods: int) -> Layout:
    caps = tuple(
        min(max(rules.period_cap_min, wanted.get(p, 0)), HARD_PERIOD_MIN) for p in range(periods)
    )
    return Layout(caps, min(room(minutes, periods, rules), sum(caps)))
