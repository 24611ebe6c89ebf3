"""Minutes and periods decided together, where the choice's own slots do not fit into the periods.

Integer programming (HiGHS) over the steps of the topics already chosen: total minutes of each step
from its options, shared out over periods, one slot of work a period and at most two in all; cold
takes stand in the first period. What the player insists on keeps its minutes. Near the best (1 %
where the search ends by itself), and the same on every run (cut by nodes, not by time).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coldtake.planning.day.composition.options import OptionTable
from coldtake.planning.day.composition.periods import Layout
from coldtake.planning.day.composition.placement import PRESOLVE
from coldtake.planning.day.composition.slot_drafts import SlotDraft

_GAP = 0.01
_NODES = 10
_MOST_SLOTS = 2


@dataclass(frozen=True, slots=True)
class Shared:
    """One step's part: whether it has a cold take, and its minutes of work in each period."""

    row: int
    cold: bool
    minutes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Fitted:
    """Parts of the free steps, and the period of each fixed slot."""

    parts: tuple[Shared, ...]
    fixed: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class _Step:
    """Columns of one step: total options (minutes -> column), minutes and slot by period, cold."""

    row: int
    totals: dict[int, int]
    minutes: tuple[int, ...]
    slots: tuple[int, ...]
    cold: int | None


@dataclass(frozen=True, slots=True)
class Span:
    """Fewest and most minutes of a topic's free steps, and their largest share of the session."""

    least: int
    most: int
    share_percent: int | None = None


class _Model:
    def __init__(
        self,
        table: OptionTable,
        topics: Sequence[Sequence[int]],
        cold_worth: Sequence[float],
        fixed: Sequence[SlotDraft],
        laid: Layout,
        spans: Sequence[Span | None],
    ) -> None:
        self.table, self.laid, self.cold_worth = table, laid, cold_worth
        self.cost: list[float] = []
        self.high: list[float] = []
        self.entries: list[tuple[int, int, float]] = []
        self.limits: list[tuple[float, float]] = []
        self.load: list[dict[int, float]] = [{} for _ in laid.caps]
        self.steps = [self._step(row) for rows in topics for row in rows]
        self.places = [self._place(piece) for piece in fixed]
        self._touch(topics, fixed)
        self._span(topics, fixed, spans)
        for cap, load in zip(laid.caps, self.load, strict=True):
            self._row(load, -np.inf, cap)
        self._row({c: f for load in self.load for c, f in load.items()}, -np.inf, laid.playing_min)

    def _column(self, worth: float = 0.0, high: float = 1.0) -> int:
        self.cost.append(-worth)
        self.high.append(high)
        return len(self.cost) - 1

    def _row(self, terms: dict[int, float], low: float, high: float) -> None:
        self.entries += [(len(self.limits), column, factor) for column, factor in terms.items()]
        self.limits.append((low, high))

    def _step(self, row: int) -> _Step:
        limits, worth = self.table.limits, self.table.worth[row]
        has_cold = self.table.has_cold[row]
        options = np.flatnonzero(np.isfinite(worth) & ~has_cold)
        totals = {int(m): self._column(float(worth[m])) for m in options if m}
        minutes = tuple(self._column(high=limits.most) for _ in self.laid.caps)
        slots = tuple(self._column() for _ in self.laid.caps)
        cold = self._column(self.cold_worth[row]) if self.cold_worth[row] > 0 else None
        self._row(dict.fromkeys(totals.values(), 1.0), 0.0, 1.0)
        shared = {**{c: float(m) for m, c in totals.items()}, **dict.fromkeys(minutes, -1.0)}
        self._row(shared, 0.0, 0.0)
        self._row(dict.fromkeys(slots, 1.0), 0.0, _MOST_SLOTS)
        for m, s in zip(minutes, slots, strict=True):
            self._row({m: 1.0, s: -float(limits.most)}, -np.inf, 0.0)
            self._row({m: 1.0, s: -float(limits.least)}, 0.0, np.inf)
        for load, m in zip(self.load, minutes, strict=True):
            load[m] = 1.0
        if cold is not None:
            self.load[0][cold] = float(self.table.cold_min[row])
        return _Step(row, totals, minutes, slots, cold)

    def _place(self, piece: SlotDraft) -> tuple[int, ...]:
        columns = tuple(self._column() for _ in self.laid.caps)
        asked = piece.wish.period if piece.wish else None
        for p, column in enumerate(columns):
            self.load[p][column] = float(piece.minutes)
            if asked is not None and p != min(asked, len(columns) - 1):
                self.high[column] = 0.0
        self._row(dict.fromkeys(columns, 1.0), 1.0, 1.0)
        return columns

    def _touch(self, topics: Sequence[Sequence[int]], fixed: Sequence[SlotDraft]) -> None:
        """Every chosen topic keeps a slot, unless a fixed slot may be what it was chosen for."""
        by_row = {s.row: s for s in self.steps}
        for rows in topics if not fixed else ():
            mine = [by_row[r] for r in rows]
            terms = {c: 1.0 for s in mine for c in s.totals.values()}
            terms |= {s.cold: 1.0 for s in mine if s.cold is not None}
            self._row(terms, 1.0, np.inf)

    def _span(
        self,
        topics: Sequence[Sequence[int]],
        fixed: Sequence[SlotDraft],
        spans: Sequence[Span | None],
    ) -> None:
        """Keep the minutes of each topic's free steps inside their span."""
        every = self._minutes_of([s.row for s in self.steps])
        for rows, span in zip(topics, spans, strict=True):
            if span is None:
                continue
            mine = self._minutes_of(rows)
            self._row(mine, float(span.least), float(span.most))
            if span.share_percent is not None:
                share = span.share_percent / 100.0
                terms = {c: mine.get(c, 0.0) - share * m for c, m in every.items()}
                self._row(terms, -np.inf, share * sum(p.minutes for p in fixed))

    def _minutes_of(self, rows: Sequence[int]) -> dict[int, float]:
        """Columns that stand for minutes of some steps, and how many each stands for."""
        mine = [s for s in self.steps if s.row in rows]
        terms = {c: float(m) for s in mine for m, c in s.totals.items()}
        return terms | {
            s.cold: float(self.table.cold_min[s.row]) for s in mine if s.cold is not None
        }

    def solve(self) -> Fitted | None:
        """Return the best parts found, or None."""
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import coo_array

        i, j, factors = zip(*self.entries, strict=True)
        shape = (len(self.limits), len(self.cost))
        low, high = zip(*self.limits, strict=True)
        found = milp(
            np.array(self.cost),
            integrality=np.ones(len(self.cost), dtype=np.int64),
            bounds=Bounds(np.zeros(len(self.cost)), np.array(self.high)),
            constraints=LinearConstraint(
                coo_array((factors, (i, j)), shape=shape).tocsc(), np.array(low), np.array(high)
            ),
            options={"mip_rel_gap": _GAP, "node_limit": _NODES, "presolve": PRESOLVE},
        )
        return None if found.x is None else self._read(np.rint(np.asarray(found.x)).astype(int))

    def _read(self, x: np.ndarray[tuple[int], np.dtype[np.int64]]) -> Fitted:
        parts = [
            Shared(
                s.row, s.cold is not None and bool(x[s.cold]), tuple(int(x[m]) for m in s.minutes)
            )
            for s in self.steps
        ]
        used = tuple(p for p in parts if p.cold or any(p.minutes))
        return Fitted(used, tuple(int(x[list(columns)].argmax()) for columns in self.places))


def fit(
    table: OptionTable,
    topics: Sequence[Sequence[int]],
    cold_worth: Sequence[float],
    fixed: Sequence[SlotDraft],
    laid: Layout,
    spans: Sequence[Span | None],
) -> Fitted | None:
    """Share minutes out over the periods of a layout.

    table : options without cold takes; topics : rows of the free steps of each chosen topic;
    cold_worth : points of a cold take by row, 0 for none; fixed : slots that must be in
    spans : what each topic's free steps may take, None for any
    """
    model = _Model(table, topics, cold_worth, fixed, laid, spans)
    return model.solve() if model.entries else None
