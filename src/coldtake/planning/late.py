"""A late start: the plan gets shorter from its least valuable end; no break moves.

Exact: of all ways to drop whole slots so that the rest fits, the one that keeps most points
(pinned slots before anything). Slots keep their period and order, so every break stays between the
slots it stood between; a break goes only with its whole period. Nothing is made up by overrunning.
"""

from dataclasses import dataclass
from itertools import pairwise

import msgspec

from coldtake.domain.plan import Period, Plan, Slot, violations

_PINNED = 1e6
_PRESENT = 1e-3  # a slot without points is still better than none


@dataclass(frozen=True, slots=True)
class _Kept:
    """Best slots found for so many minutes."""

    worth: float
    slots: tuple[tuple[Slot, ...], ...]


def _worth(slot: Slot) -> float:
    return slot.gain + _PRESENT * slot.minutes + _PINNED * slot.pinned


def _of_period(slots: tuple[Slot, ...], minutes: int) -> dict[int, tuple[float, tuple[Slot, ...]]]:
    """Best non-empty choice of a period's slots for each exact number of minutes."""
    best: dict[int, tuple[float, tuple[Slot, ...]]] = {0: (0.0, ())}
    for slot in slots:
        for used, (worth, kept) in sorted(best.items(), reverse=True):
            total = used + slot.minutes
            more = (worth + _worth(slot), (*kept, slot))
            if total <= minutes and more[0] > best.get(total, (-1.0, ()))[0]:
                best[total] = more
    return {used: made for used, made in best.items() if made[1]}


def _best(plan: Plan, minutes: int) -> _Kept:
    ways: dict[int, _Kept] = {0: _Kept(0.0, ())}
    for period in plan.periods:
        choices = _of_period(period.slots, minutes)
        added: dict[int, _Kept] = {}
        for used, way in ways.items():
            pause = plan.rules.break_min if way.slots else 0
            for taken, (worth, slots) in choices.items():
                total = used + pause + taken
                made = _Kept(way.worth + worth, (*way.slots, slots))
                if total <= minutes and (total not in added or made.worth > added[total].worth):
                    added[total] = made
        for total, made in added.items():
            if total not in ways or made.worth > ways[total].worth:
                ways[total] = made
    return max(ways.items(), key=lambda item: (item[1].worth, -item[0]))[1]


def _apart(periods: tuple[tuple[Slot, ...], ...]) -> tuple[tuple[Slot, ...], ...]:
    """Drop the lesser of two slots of one step that came to stand side by side."""
    slots = [s for p in periods for s in p]
    for a, b in pairwise(slots):
        if a.step_id == b.step_id:
            lesser = min(a, b, key=_worth)
            kept = (tuple(s for s in p if s is not lesser) for p in periods)
            return _apart(tuple(p for p in kept if p))
    return periods


def _shortest(plan: Plan, minutes: int) -> tuple[tuple[Slot, ...], ...]:
    """With less time than any slot: the best slot, cut to what is left."""
    slot = max(plan.slots, key=_worth)
    return ((msgspec.structs.replace(slot, minutes=min(slot.minutes, minutes)),),)


def trim(plan: Plan, minutes_left: int) -> Plan:
    """Shorten a plan to the minutes left, breaks included; the same plan if they are enough.

    What was dropped stands ready among the spare slots, best first. A run-through before the slots
    is dropped too: its place was the start.
    """
    if plan.minutes <= minutes_left or not plan.slots:
        return plan
    if minutes_left < 1:
        return _cut(plan, ())
    kept = _best(plan, minutes_left).slots or _shortest(plan, minutes_left)
    was_apart = all(v.rule != "neighbours" for v in violations(plan))
    return _cut(plan, _apart(kept) if was_apart else kept)


def _cut(plan: Plan, kept: tuple[tuple[Slot, ...], ...]) -> Plan:
    ids = {s.id for p in kept for s in p}
    dropped = sorted((s for s in plan.slots if s.id not in ids), key=_worth, reverse=True)
    return msgspec.structs.replace(
        plan,
        periods=tuple(Period(slots=p) for p in kept),
        run=None,
        spare=(*dropped, *plan.spare),
        value=round(sum(s.gain for p in kept for s in p), 6),
    )
