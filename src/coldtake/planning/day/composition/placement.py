"""Which period each slot goes into: integer programming with SciPy's HiGHS.

Given slots with their minutes, find periods such that no period is over its cap, work on a topic
never comes before a period with a cold take of it, and two slots of work on one step lie in
different periods. Among these: cold takes early, each topic spread over the periods (topics go
round), new work early. Periods are of even length where the slots allow it. The same on every run:
the search is limited by nodes, not by time, and is exact (gap 0) unless it meets that limit.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from coldtake.domain.plan import HARD_PERIOD_MIN
from coldtake.planning.day.composition.packing import pack
from coldtake.planning.day.composition.slot_drafts import SlotDraft

if TYPE_CHECKING:
    from scipy.optimize import Bounds

_NODES = 30
PRESOLVE = False  # with it HiGHS at times prints a line of its own to standard output
_OVER = 1000.0  # cost of a minute over a cap, only where the player insists
_COLD_LATE = 10.0
_CROWDED = 1.0
_NEW_LATE = 0.2
_UNEVEN_MIN = 2  # minutes that a period may be longer than its even share
_ORDER = 1e-3
_FINE_PERIODS = 4  # with more, new work is put early inside periods only: proving is slow
_SPREAD_PERIODS = 4  # with more, topics are spread by the order inside periods only
_FULL = 0.95  # share of the caps above which only fitting counts
_DROPPED = 1e3  # cost of a point lost by leaving a slot out


@dataclass(slots=True)
class _Model:
    """Rows of the programme: low <= A x <= high."""

    width: int
    rows: list[NDArray[np.float64]] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)

    def add(self, terms: dict[int, float], low: float, high: float) -> None:
        """Add one row given as column -> coefficient."""
        row = np.zeros(self.width)
        for column, factor in terms.items():
            row[column] = factor
        self.rows.append(row)
        self.low.append(low)
        self.high.append(high)


class _Programme:
    """Columns: slot s in period p (binary), crowding of topic k in period p, overflow of p."""

    def __init__(
        self,
        pieces: Sequence[SlotDraft],
        caps: Sequence[int],
        *,
        elastic: bool = False,
        fill: bool = False,
        dropping: bool = False,
    ) -> None:
        self.pieces, self.caps = pieces, caps
        self.elastic, self.fill, self.dropping = elastic, fill, dropping
        self.periods = len(caps)
        self.topics = list(dict.fromkeys(p.topic_id for p in pieces if not p.cold))
        self.crowd_at = len(pieces) * self.periods
        self.over_at = self.crowd_at + len(self.topics) * self.periods
        self.model = _Model(self.over_at + self.periods)

    def column(self, piece: int, period: int) -> int:
        """Column of a slot in a period."""
        return piece * self.periods + period

    def constrain(self) -> None:
        """Write all rows."""
        for s, piece in enumerate(self.pieces):
            once = {self.column(s, p): 1.0 for p in range(self.periods)}
            may_go = self.dropping and piece.wish is None
            self.model.add(once, 0.0 if may_go else 1.0, 1.0)
        for p, cap in enumerate(self.caps):
            self._period(p, cap)
        for a, b in combinations(range(len(self.pieces)), 2):
            if not self.elastic:  # where the player overfills, order gives way too
                self._pair(a, b)
        for k, topic in enumerate(self.topics):
            self._spread(k, topic)

    def _period(self, p: int, cap: int) -> None:
        load = {self.column(s, p): float(x.minutes) for s, x in enumerate(self.pieces)}
        self.model.add({**load, self.over_at + p: -1.0}, -np.inf, cap)
        self.model.add(load, 1.0 if self.fill else 0.0, HARD_PERIOD_MIN)

    def _pair(self, a: int, b: int) -> None:
        first, second = self.pieces[a], self.pieces[b]
        if _both_placed(first, second) or first.topic_id != second.topic_id:
            return
        if first.cold != second.cold:
            cold, work = (a, b) if first.cold else (b, a)
            for p in range(1, self.periods):
                earlier = {self.column(work, q): 1.0 for q in range(p)}
                self.model.add({**earlier, self.column(cold, p): 1.0}, -np.inf, 1.0)
        elif first.step_id == second.step_id:
            for p in range(self.periods):
                self.model.add({self.column(a, p): 1.0, self.column(b, p): 1.0}, -np.inf, 1.0)

    def _spread(self, k: int, topic: str) -> None:
        mine = [s for s, x in enumerate(self.pieces) if not x.cold and x.topic_id == topic]
        share = -(-len(mine) // self.periods)
        for p in range(self.periods):
            terms = {self.column(s, p): 1.0 for s in mine}
            crowd = self.crowd_at + k * self.periods + p
            self.model.add({**terms, crowd: -1.0}, -np.inf, float(share))

    def costs(self) -> NDArray[np.float64]:
        """Cost of every column."""
        cost = np.zeros(self.model.width)
        for s in range(len(self.pieces)):
            for p in range(self.periods):
                cost[self.column(s, p)] = p * self._late(s) - self._kept(s)
        cost[self.crowd_at : self.over_at] = _CROWDED * (self.periods <= _SPREAD_PERIODS)
        cost[self.over_at :] = _OVER
        return cost

    def _late(self, s: int) -> float:
        """Cost of each period later; the last term makes the best placement one and the same."""
        piece = self.pieces[s]
        if piece.cold:
            return _COLD_LATE
        if self.periods > _FINE_PERIODS:
            return 0.0
        return _NEW_LATE * piece.newness + _ORDER * math.pow(len(self.pieces) - s, 1.5)

    def _kept(self, s: int) -> float:
        return _DROPPED * (self.pieces[s].gain + _ORDER) if self.dropping else 0.0

    def bounds(self) -> "Bounds":
        """Bounds of every column; a slot with a wished period stands there."""
        low, high = np.zeros(self.model.width), np.full(self.model.width, np.inf)
        high[: self.crowd_at] = 1.0
        for s, piece in enumerate(self.pieces):
            if piece.wish is not None and piece.wish.period is not None:
                low[self.column(s, min(piece.wish.period, self.periods - 1))] = 1.0
        for p, cap in enumerate(self.caps):
            over = HARD_PERIOD_MIN - cap if self.elastic else 0
            high[self.over_at + p] = max(over, 0)
        from scipy.optimize import Bounds

        return Bounds(low, high)


def _both_placed(a: SlotDraft, b: SlotDraft) -> bool:
    return all(x.wish is not None and x.wish.period is not None for x in (a, b))


def place(
    pieces: Sequence[SlotDraft], caps: Sequence[int], *, elastic: bool = False
) -> tuple[int, ...] | None:
    """Return the period of each slot, or None where they do not fit.

    elastic : caps may be passed up to the hard limit, as little as possible
    """
    if not pieces:
        return ()
    if sum(p.minutes for p in pieces) > sum(caps) and not elastic:
        return None
    if len(caps) == 1:
        limit = HARD_PERIOD_MIN if elastic else caps[0]
        return None if sum(p.minutes for p in pieces) > limit else tuple(0 for _ in pieces)
    free = not elastic and all(p.wish is None for p in pieces)
    packed = _packed(pieces, caps) if free else None
    if packed is not None and _full(pieces, caps):
        return packed
    if free and packed is None and min(caps) == max(caps) and not any(p.cold for p in pieces):
        return None  # cold takes may stand in a later period, and then they may fit
    return _best(pieces, caps, elastic=elastic, fallback=packed)


def _best(
    pieces: Sequence[SlotDraft],
    caps: Sequence[int],
    *,
    elastic: bool,
    fallback: tuple[int, ...] | None,
) -> tuple[int, ...] | None:
    """Solve with even periods, else with the caps as they are, else take the packing."""
    even = -(-_minutes(pieces) // len(caps)) + _UNEVEN_MIN
    tight = tuple(min(cap, even) for cap in caps)
    ways = [(tuple(caps), False)]
    if not elastic and len(pieces) >= len(caps):
        ways = [(tight if _may_fit(pieces, tight) else tuple(caps), True), *ways]
    for limits, fill in ways[:1] if fallback else ways:
        found = _solved(_Programme(pieces, limits, elastic=elastic, fill=fill))
        if found is not None:
            return tuple(p for p in found if p is not None)
    return fallback


def _full(pieces: Sequence[SlotDraft], caps: Sequence[int]) -> bool:
    """Say whether a long session is so full that nothing but fitting counts."""
    return len(caps) > 2 and min(caps) == max(caps) and _minutes(pieces) > _FULL * sum(caps)


def _packed(pieces: Sequence[SlotDraft], caps: Sequence[int]) -> tuple[int, ...] | None:
    """Place by packing alone: cold takes first, two slots of a step in different periods."""
    if min(caps) != max(caps) or too_large(pieces, caps):
        return None
    places = [0 if x.cold else None for x in pieces]
    alike = ["" if x.cold else x.step_id for x in pieces]
    return pack([x.minutes for x in pieces], places, len(caps), caps[0], alike)


def _minutes(pieces: Sequence[SlotDraft]) -> int:
    return sum(p.minutes for p in pieces)


def place_most(pieces: Sequence[SlotDraft], caps: Sequence[int]) -> tuple[int | None, ...]:
    """Return the period of each slot, None for those left out so that the rest fits.

    Nearly the most points that fit (within 1 %); slots that are wished stay in.
    """
    if not pieces:
        return ()
    found = _solved(_Programme(pieces, caps, dropping=True), gap=0.01)
    return found or tuple(None for _ in pieces)


def _may_fit(pieces: Sequence[SlotDraft], caps: Sequence[int]) -> bool:
    """Say cheaply whether the minutes alone could fit; unequal caps are only counted."""
    if too_large(pieces, caps):
        return False
    sizes = [p.minutes for p in pieces]
    return min(caps) != max(caps) or bool(pack(sizes, [None] * len(sizes), len(caps), caps[0]))


def too_large(pieces: Sequence[SlotDraft], caps: Sequence[int]) -> bool:
    """Say by counting alone that the slots cannot fit (False means that they may).

    For every k the slots longer than half a period stand alone, and slots of k minutes or more
    fill what these leave (bound L2 of Martello and Toth, Knapsack Problems, Wiley 1990, ch. 8).
    """
    cap, sizes = max(caps), sorted(p.minutes for p in pieces)
    for k in range(cap // 2 + 1):
        alone = sum(1 for m in sizes if m > cap - k)
        large = [m for m in sizes if cap / 2 < m <= cap - k]
        small = sum(m for m in sizes if k <= m <= cap / 2)
        spilled = max(small - (cap * len(large) - sum(large)), 0)
        if alone + len(large) + -(-spilled // cap) > len(caps):
            return True
    return False


def _solved(programme: _Programme, gap: float = 0.0) -> tuple[int | None, ...] | None:
    # Slow to load (0.4 s), and a session of one period never needs it.
    from scipy.optimize import LinearConstraint, milp

    programme.constrain()
    model = programme.model
    kinds = np.ones(model.width, dtype=np.int64)
    found = milp(
        programme.costs(),
        integrality=kinds,
        bounds=programme.bounds(),
        constraints=LinearConstraint(
            np.array(model.rows), np.array(model.low), np.array(model.high)
        ),
        options={"mip_rel_gap": gap, "node_limit": _NODES, "presolve": PRESOLVE},
    )
    if found.x is None:
        return None
    chosen = np.asarray(found.x)[: programme.crowd_at].reshape(-1, programme.periods)
    return tuple(int(row.argmax()) if row.max() > 0.5 else None for row in chosen)
