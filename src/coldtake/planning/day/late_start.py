"""A late start: the plan gets shorter from its least valuable end; no break moves.

Exact, and one rule for server and page: for every number of minutes left it is said beforehand
which slots stay (`late_starts`); the page looks it up, also without a server. Of all ways to drop
whole slots so that the rest fits, the one that keeps most points (pinned slots before anything; of
two alike the one that plays longer) among those that put no two slots of one step side by side that
were apart. Slots keep their period and order, so every break stays between the slots it stood
between; a break goes only with its whole period. With less time than any slot takes, the best slot
is cut to what is left. Nothing is made up by overrunning.

Cold takes were given minutes in the place of work, although those that are asked for to keep a step
add hardly a point. On average a minute of theirs counts at least like one of the plan's work: twice
as much for the first, hardly anything for the last, so that of both some stay.

A dynamic programme over the last slot kept and the minutes used, breaks included.
"""

import msgspec
import numpy as np
from numpy.typing import NDArray

from coldtake.domain.plan import Period, Plan, Slot, SlotKind

_PINNED = 1e6  # points
_LONGER = 1e-9  # points a minute: only where nothing else differs


class LateRow(msgspec.Struct, frozen=True, kw_only=True):
    """Minutes of each slot in playing order (0: left out) from so many minutes left on."""

    minutes_left: int
    minutes: tuple[int, ...]


class LateStarts(msgspec.Struct, frozen=True, kw_only=True):
    """What stays of a plan for every number of minutes left, breaks included.

    rows : ascending; a row holds up to the next one. Fewer than in the first row: nothing stays.
    best_first : places of the slots by worth; what is left out is ready as spare in this order
    """

    rows: tuple[LateRow, ...]
    best_first: tuple[int, ...]


def late_starts(plan: Plan) -> LateStarts:
    """Return what stays of a plan whenever it is begun."""
    slots = plan.slots
    worths = _worths(slots)
    best_first = sorted(range(len(slots)), key=lambda n: -worths[n])
    if not slots:
        return LateStarts(rows=(), best_first=())
    kept = _Kept(plan)
    rows: list[LateRow] = []
    for left in range(1, kept.whole_min + 1):
        minutes = kept.at(left) or _cut(slots, best_first[0], left)
        if not rows or rows[-1].minutes != minutes:
            rows.append(LateRow(minutes_left=left, minutes=minutes))
    return LateStarts(rows=tuple(rows), best_first=tuple(best_first))


def trim(plan: Plan, minutes_left: int) -> Plan:
    """Shorten a plan to the minutes left, breaks included; the same plan if they are enough.

    What was dropped stands ready among the spare slots, best first. A run-through before the slots
    is dropped too: its place was the start.
    """
    if plan.minutes <= minutes_left or not plan.slots:
        return plan
    starts = late_starts(plan)
    rows = [row.minutes for row in starts.rows if row.minutes_left <= minutes_left]
    minutes = rows[-1] if rows else (0,) * len(plan.slots)
    return _with_minutes(plan, minutes, starts.best_first)


def _worths(slots: tuple[Slot, ...]) -> tuple[float, ...]:
    """Return what each slot counts, in points."""
    work = [s for s in slots if s.kind is not SlotKind.COLD]
    each = sum(s.gain for s in work) / max(sum(s.minutes for s in work), 1)
    cold = sorted((s for s in slots if s.kind is SlotKind.COLD), key=lambda s: -s.gain)
    least = {
        s.id: each * s.minutes * 2 * (len(cold) - n) / (len(cold) + 1) for n, s in enumerate(cold)
    }
    return tuple(
        max(s.gain, least.get(s.id, 0.0)) + _LONGER * s.minutes + _PINNED * s.pinned for s in slots
    )


def _cut(slots: tuple[Slot, ...], best: int, left: int) -> tuple[int, ...]:
    return tuple(min(s.minutes, left) if n == best else 0 for n, s in enumerate(slots))


class _Kept:
    """The best slots for every exact number of minutes; `whole_min` is the whole plan's."""

    def __init__(self, plan: Plan) -> None:
        self.slots, self.points = plan.slots, _worths(plan.slots)
        self.of = [p for p, period in enumerate(plan.periods) for _ in period.slots]
        self.break_min = plan.rules.break_min
        self.whole_min = sum(s.minutes for s in self.slots) + self.break_min * self.of[-1]
        shape = (len(self.slots), self.whole_min + 1)
        self.worth: NDArray[np.float64] = np.full(shape, -np.inf)
        self.before = np.full(shape, -1)
        for n, slot in enumerate(self.slots):
            self.worth[n, slot.minutes] = self.points[n]
            for other in range(n):
                self._after(other, n)
        best = self.worth.max(axis=0)
        self.upto = np.maximum.accumulate(best)
        self.best = best

    def _after(self, other: int, n: int) -> None:
        """Let a slot follow another one, with the break between them where there was one."""
        slot = self.slots[n]
        if self.slots[other].step_id == slot.step_id and other + 1 < n:
            return
        took = slot.minutes + self.break_min * (self.of[other] != self.of[n])
        made = self.worth[other, : self.whole_min + 1 - took] + self.points[n]
        known = self.worth[n, took:]
        better = made > known
        known[better] = made[better]
        self.before[n, took:][better] = other

    def at(self, left: int) -> tuple[int, ...] | None:
        """Return each slot's minutes with so many left, None where no slot fits."""
        if not np.isfinite(self.upto[left]):
            return None
        used = int(np.flatnonzero(self.best[: left + 1] == self.upto[left])[0])
        n = int(self.worth[:, used].argmax())
        minutes = [0] * len(self.slots)
        while n >= 0:
            minutes[n] = self.slots[n].minutes
            before = int(self.before[n, used])
            apart = before >= 0 and self.of[before] != self.of[n]
            used -= self.slots[n].minutes + self.break_min * apart
            n = before
        return tuple(minutes)


def _with_minutes(plan: Plan, minutes: tuple[int, ...], best_first: tuple[int, ...]) -> Plan:
    slots, rest = plan.slots, iter(minutes)
    periods = [
        tuple(msgspec.structs.replace(s, minutes=m) for s in p.slots if (m := next(rest)))
        for p in plan.periods
    ]
    kept = [slot for period in periods for slot in period]
    return msgspec.structs.replace(
        plan,
        periods=tuple(Period(slots=period) for period in periods if period),
        run=None,
        spare=(*(slots[n] for n in best_first if not minutes[n]), *plan.spare),
        value=round(sum(s.gain for s in kept), 6),
        shared=(),  # topics went round in the whole plan; what is left of it need not
    )
