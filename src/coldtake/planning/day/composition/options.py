"""What may be chosen for each step tomorrow, and what it is worth.

An option of a step is a cold take, minutes of work, or both. Work is one slot of `slot_least` to
`slot_most` minutes; where the step wants more than one longest slot it may be two slots, at other
places of the session. No work is longer than `tightness` of the work still expected (the slot is
deliberately a little less than the step would want) though never shorter than the shortest slot.
A step never played has a shortest slot that is `FIRST_MORE_MIN` longer where the session has room:
reading and finding fingerings come first (common practice, no source). Worth is additive: points
of the cold take plus points of the work.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement

import numpy as np
from numpy.typing import NDArray

from coldtake.domain.plan import PlanRules, SlotKind
from coldtake.planning.day.composition.slot_drafts import PinnedSlot
from coldtake.planning.value.values import StepValue

Points = NDArray[np.float64]
WORTHLESS = 1e-9  # points; an option below this is none
FIRST_MORE_MIN = 2  # minutes by which a first slot is longer; tried in bench/learning


@dataclass(frozen=True, slots=True)
class Limits:
    """Slot lengths that this session can carry, in minutes; `first` is the shortest first slot."""

    least: int
    most: int
    cold: int
    tightness: float
    first: int = 0

    def __post_init__(self) -> None:
        if not 1 <= self.least <= self.most or self.cold < 1:
            raise ValueError("slot lengths need 1 <= least <= most and a cold take of a minute")


def limits_of(rules: PlanRules, minutes: int) -> Limits:
    """Fit the rules' slot lengths to the session's minutes and period cap (both >= 1)."""
    room = min(minutes, rules.period_cap_min)
    least = min(rules.slot_least_min, room)
    most = min(max(rules.slot_most_min, least), room)
    cold = min(rules.cold_min, room)
    midway = (least + most + 1) // 2
    first = max(least, min(least + FIRST_MORE_MIN, midway, minutes // rules.topics_least))
    return Limits(least, most, cold, rules.tightness_percent / 100.0, min(first, most))


def longest_work(need_left_min: float, limits: Limits, *, fresh: bool = False) -> tuple[int, int]:
    """Longest single slot, and most minutes of work in the day, for a step's remaining need."""
    wanted = round(limits.tightness * max(need_left_min, 0.0))
    single = min(max(wanted, shortest_work(limits, fresh=fresh)), limits.most)
    double = min(wanted, 2 * limits.most)
    return single, double if double >= 2 * limits.least and wanted > limits.most else single


def shortest_work(limits: Limits, *, fresh: bool = False) -> int:
    """Shortest slot of work; fresh : the step was never played."""
    return max(limits.least, limits.first) if fresh else limits.least


@dataclass(frozen=True, slots=True)
class OptionTable:
    """Options of every step by the minutes they cost.

    worth : [shape=(steps, most + 1)] best points for exactly so many minutes; -inf where there is
        no option; column 0 is 0, or -inf for a step the player insists on
    has_cold : same shape, whether that option contains the cold take
    cold_min : [shape=(steps,)] minutes of the cold take
    """

    worth: Points
    has_cold: NDArray[np.bool_]
    cold_min: NDArray[np.int64]
    limits: Limits


def work_worth(value: StepValue, minutes: int) -> float:
    """Points of so many minutes of work; beyond the table the last entry counts."""
    table = value.work_value
    return float(table[min(minutes, len(table) - 1)]) if table else 0.0


def _free_work(
    values: Sequence[StepValue],
    limits: Limits,
    fresh: Sequence[bool],
    single_only: bool,
    open_ones: Sequence[bool] | None = None,
) -> Points:
    width = 2 * limits.most + 1
    table = np.full((len(values), width), -np.inf)
    for row, value in enumerate(values):
        if not value.available:
            continue
        single, double = longest_work(value.need_left_min, limits, fresh=fresh[row])
        points = value.work_value[: (single if single_only else double) + 1]
        table[row, : len(points)] = points
        table[row, single + 1 : 2 * limits.least] = -np.inf
        table[row, : shortest_work(limits, fresh=fresh[row])] = -np.inf
    table[table <= WORTHLESS] = -np.inf
    table[:, 0] = 0.0
    worthwhile = {v.topic_id for row, v in enumerate(values) if np.isfinite(table[row, 1:]).any()}
    for row, value in enumerate(values):
        if not value.available or value.topic_id in worthwhile:
            continue  # else nothing to gain, but the topic may be touched, or go round
        shortest = shortest_work(limits, fresh=fresh[row])
        if open_ones is not None and open_ones[row]:
            single, _double = longest_work(value.need_left_min, limits, fresh=fresh[row])
            table[row, shortest : single + 1] = 0.0
        elif value.due:
            table[row, shortest] = 0.0
    return table


def _joined(work: Points, cold_worth: Points, cold_min: int) -> tuple[Points, NDArray[np.bool_]]:
    """Options with and without a cold take, the better for each number of minutes."""
    rows, width = work.shape
    without = np.full((rows, width + cold_min), -np.inf)
    without[:, :width] = work
    with_cold = np.full_like(without, -np.inf)
    with_cold[:, cold_min:] = work + cold_worth[:, None]
    return np.maximum(without, with_cold), with_cold > without


def free_options(
    values: Sequence[StepValue],
    limits: Limits,
    *,
    fresh: Sequence[bool] | None = None,
    open_ones: Sequence[bool] | None = None,
    plain: bool = False,
) -> OptionTable:
    """Build the options of all steps at once.

    fresh : which steps were never played; none where not given
    open_ones : which steps may be worked on where no minutes on their topic gain anything; none
        where not given
    plain : at most one slot for each step (cold take or work), which can always be put in order
    """
    work = _free_work(values, limits, fresh or [False] * len(values), plain, open_ones)
    worth = np.array([v.cold_value if v.available else 0.0 for v in values], dtype=np.float64)
    cold = np.where(worth > WORTHLESS, worth, -np.inf)
    if plain:
        bare = np.full((len(values), work.shape[1] + limits.cold), -np.inf)
        bare[:, : work.shape[1]] = work
        better = cold > bare[:, limits.cold]
        bare[better, limits.cold] = cold[better]
        has_cold = np.zeros(bare.shape, dtype=np.bool_)
        has_cold[better, limits.cold] = True
        best = bare
    else:
        best, has_cold = _joined(work, cold, limits.cold)
    return OptionTable(best, has_cold, np.full(len(values), limits.cold), limits)


def room_of(table: OptionTable, rows: Sequence[int]) -> int:
    """Most minutes that some steps together can use."""
    finite = np.isfinite(table.worth[list(rows)])
    columns = np.arange(table.worth.shape[1])
    return int(np.where(finite, columns, 0).max(axis=1, initial=0).sum())


def _insisted_work(
    value: StepValue, works: Sequence[PinnedSlot], limits: Limits, closed: bool
) -> dict[int, float]:
    fixed = sum(w.minutes for w in works if w.minutes is not None)
    open_ones = sum(1 for w in works if w.minutes is None)
    single, double = longest_work(value.need_left_min, limits)
    spans = combinations_with_replacement(range(limits.least, single + 1), open_ones)
    totals = {fixed + sum(span) for span in spans}
    if len(works) == 1 and fixed and not closed:  # the step may have its second slot besides
        second = range(limits.least, limits.most + 1)
        totals |= {fixed + more for more in second if fixed + more <= double}
    return {total: work_worth(value, total) for total in sorted(totals)}


def _insisted_row(
    value: StepValue, slots: Sequence[PinnedSlot], free: Points, limits: Limits, closed: bool
) -> dict[tuple[int, bool], float]:
    """Options (minutes, with cold take) -> points of a step with slots that must be in."""
    works = [s for s in slots if s.kind is SlotKind.WORK]
    colds = [s for s in slots if s.kind is SlotKind.COLD]
    if works:
        work = _insisted_work(value, works, limits, closed)
    elif closed:
        work = {0: 0.0}
    else:
        work = {int(m): float(free[m]) for m in np.flatnonzero(np.isfinite(free))}
    cold_min = (colds[0].minutes if colds else None) or limits.cold
    row: dict[tuple[int, bool], float] = {}
    for minutes, points in work.items():
        if colds or (not closed and value.available and value.cold_value > WORTHLESS):
            row[minutes + cold_min, True] = points + value.cold_value
        if not colds:
            row[minutes, False] = points
    return row


def with_insisted(
    table: OptionTable,
    values: Sequence[StepValue],
    insisted: Mapping[int, Sequence[PinnedSlot]],
    *,
    closed: Collection[int] = (),
    fresh: Sequence[bool] | None = None,
    plain: bool = False,
) -> OptionTable:
    """Replace the options of the steps (by row) that the player insists on.

    closed : rows that have no other slots besides
    """
    free = _free_work(values, table.limits, fresh or [False] * len(values), single_only=plain)
    rows = {
        i: _insisted_row(values[i], slots, free[i], table.limits, i in closed)
        for i, slots in insisted.items()
    }
    longest = max((minutes for row in rows.values() for minutes, _ in row), default=0)
    extra = max(longest + 1 - table.worth.shape[1], 0)
    worth = np.pad(table.worth, ((0, 0), (0, extra)), constant_values=-np.inf)
    has_cold = np.pad(table.has_cold, ((0, 0), (0, extra)))
    cold_min = table.cold_min.copy()
    for i, row in rows.items():
        worth[i], has_cold[i] = -np.inf, False
        for (minutes, cold), points in row.items():
            if points > worth[i, minutes]:
                worth[i, minutes], has_cold[i, minutes] = points, cold
        given = [s.minutes for s in insisted[i] if s.kind is SlotKind.COLD and s.minutes]
        cold_min[i] = given[0] if given else table.limits.cold
    return OptionTable(worth, has_cold, cold_min, table.limits)
