"""Exact choice of topics, steps and minutes: a dynamic programme over minutes.

The task is a multiple-choice knapsack (one option for each step) with a limit on the number of
topics. Inside a topic the steps are folded in one after the other, then topics over (number of
topics, minutes); both are (max, +) products, exact for whole minutes (Kellerer, Pferschy and
Pisinger, Knapsack Problems, Springer 2004, chapter 11). Nothing is assumed of the worth of minutes
(it need not be concave). Every number of minutes up to the largest is solved at once.

Order of wishes: first as many topics as the rules ask (`least`), then as many due topics as can
be touched, then points. So with no due topic and enough minutes for `least` topics, more minutes
never mean fewer points. Ties go to fewer minutes, fewer topics, then the order of the rows.

`bound` leaves `least` and due topics out and knows no periods: no plan of these options has more.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from coldtake.planning.options import OptionTable, Points

_TIE = 1e-9  # points


@dataclass(frozen=True, slots=True)
class TopicLimits:
    """How many topics a session should have; `least` is kept where it can be."""

    least: int
    most: int


@dataclass(frozen=True, slots=True)
class Pick:
    """One step's chosen option: its row, minutes of work, and whether a cold take is in it."""

    row: int
    cold: bool
    work_min: int


@dataclass(frozen=True, slots=True)
class Choice:
    """What was chosen for a number of minutes; `points` is what it is worth."""

    points: float
    minutes: int
    picks: tuple[Pick, ...]


def _shifted(base: Points, width: int) -> Points:
    """Rows t, columns c: base[t - c], -inf before the start (a view)."""
    padded = np.concatenate([np.full(width - 1, -np.inf), base])
    return np.lib.stride_tricks.sliding_window_view(padded, width)[:, ::-1]


def _product(base: Points, worth: Points) -> tuple[Points, NDArray[np.int64]]:
    """(max, +) product: best over c of base[t - c] + worth[c], and that c (the smallest)."""
    sums = _shifted(base, len(worth)) + worth
    taken = sums.argmax(axis=1)
    return sums[np.arange(len(base)), taken], taken


@dataclass(frozen=True, slots=True)
class _Stage:
    """One step folded into its topic: minutes taken, and whether others stood before it."""

    row: int
    taken: NDArray[np.int64]
    others: NDArray[np.bool_]


class _Topic:
    """Best points of one topic for at most t minutes, with at least one slot."""

    def __init__(self, rows: Sequence[int], table: OptionTable, budget: int) -> None:
        self.stages: list[_Stage] = []
        self.must = False
        self.best: Points = np.full(budget + 1, -np.inf)
        empty: Points = np.zeros(budget + 1)
        for row in rows:
            empty = self._fold(row, table.worth[row, : budget + 1], empty)

    def _fold(self, row: int, worth: Points, empty: Points) -> Points:
        """Fold one step in; return the points of using nothing (0, or -inf past a must)."""
        options = np.flatnonzero(np.isfinite(worth[1:])) + 1
        if not len(options):
            return empty
        before, used = np.maximum(empty, self.best), worth.copy()
        used[0] = -np.inf
        added, taken = _product(before, used[: options[-1] + 1])
        none = self.best + worth[0]
        stays = none >= added
        others = self.best > empty
        self.stages.append(_Stage(row, np.where(stays, 0, taken), others))
        self.best = np.where(stays, none, added)
        if np.isfinite(worth[0]):
            return empty
        self.must = True
        return np.full_like(empty, -np.inf)

    def options_at(self, minutes: int) -> list[tuple[int, int]]:
        """(row, minutes taken) of the best use of at most so many minutes."""
        chosen = []
        for stage in reversed(self.stages):
            taken = int(stage.taken[minutes])
            if taken:
                chosen.append((stage.row, taken))
                minutes -= taken
                if not stage.others[minutes]:
                    break
        return chosen[::-1]


class DayChoice:
    """All choices for 0 to `budget` minutes.

    topics : for each topic the rows of its steps in `table`, in the player's order
    due : whether each topic must be touched tomorrow
    """

    def __init__(
        self,
        table: OptionTable,
        topics: Sequence[Sequence[int]],
        due: Sequence[bool],
        limits: TopicLimits,
        budget: int,
    ) -> None:
        self._table = table
        self._budget = budget
        made = [_Topic(rows, table, budget) for rows in topics]
        keep = [i for i, t in enumerate(made) if np.isfinite(t.best[budget])]
        self._topics = [made[i] for i in keep]
        self._due = [bool(due[i]) for i in keep]
        musts = sum(t.must for t in self._topics)
        self._limits = TopicLimits(limits.least, max(limits.most, musts))
        self._weight = 1.0 + sum(max(float(t.best[budget]), 0.0) for t in self._topics)

    @cached_property
    def _ranked(self) -> tuple[list[Points], list[list[NDArray[np.int64]]]]:
        bonus = [self._weight if due else 0.0 for due in self._due]
        return self._joined(bonus)

    def _joined(self, bonus: Sequence[float]) -> tuple[list[Points], list[list[NDArray[np.int64]]]]:
        """Fold topics over (topics used, minutes); minutes given to each topic, 0 for none."""
        size = self._budget + 1
        best = [np.zeros(size), *(np.full(size, -np.inf) for _ in range(self._limits.most))]
        traces = []
        for topic, extra in zip(self._topics, bonus, strict=True):
            best, trace = _with_topic(best, topic, extra)
            traces.append(trace)
        return best, traces

    def bound(self, minutes: int) -> float:
        """Upper bound on the points of any plan with so many minutes of playing."""
        best, _traces = self._unranked
        return max(0.0, *(float(b[minutes]) for b in best))

    @cached_property
    def _unranked(self) -> tuple[list[Points], list[list[NDArray[np.int64]]]]:
        if not any(self._due):
            return self._ranked
        return self._joined([0.0] * len(self._topics))

    def _topics_for(self, minutes: int) -> int | None:
        """Return how many topics to use; None when the minutes cannot hold what must be in."""
        best, _traces = self._ranked
        wanted = min(self._limits.least, max(minutes // self._table.limits.least, 1))
        enough = [n for n in range(wanted, len(best)) if np.isfinite(best[n][minutes])]
        if enough:
            top = max(best[n][minutes] for n in enough)
            return next(n for n in enough if best[n][minutes] >= top - _TIE)
        fewer = [n for n in range(wanted) if np.isfinite(best[n][minutes])]
        return max(fewer, default=None)

    def choose(self, minutes: int) -> Choice | None:
        """Return the best choice of at most so many minutes, 0 <= minutes <= budget.

        None when what the player insists on needs more minutes.
        """
        count = self._topics_for(minutes)
        if count is None:
            return None
        best, traces = self._ranked
        level = best[count]
        minutes = int(np.argmax(level >= level[minutes] - _TIE))
        picks: list[Pick] = []
        for topic, trace in zip(reversed(self._topics), reversed(traces), strict=True):
            given = int(trace[count][minutes])
            if given:
                picks += [self._pick(row, taken) for row, taken in topic.options_at(given)]
                count, minutes = count - 1, minutes - given
        return self._summed(sorted(picks, key=lambda p: p.row))

    def _pick(self, row: int, taken: int) -> Pick:
        cold = bool(self._table.has_cold[row, taken])
        return Pick(row, cold, taken - int(self._table.cold_min[row]) * cold)

    def _summed(self, picks: list[Pick]) -> Choice:
        cold = self._table.cold_min
        taken = [(p.row, p.work_min + int(cold[p.row]) * p.cold) for p in picks]
        points = sum(float(self._table.worth[row, c]) for row, c in taken)
        return Choice(points, sum(c for _row, c in taken), tuple(picks))


def _with_topic(
    best: list[Points], topic: _Topic, extra: float
) -> tuple[list[Points], list[NDArray[np.int64]]]:
    """Fold one topic in, for every number of topics."""
    worth = topic.best + extra
    last = int(np.argmax(worth >= worth[-1] - _TIE))
    worth = worth[: last + 1]
    joined, traces = [], []
    for count, level in enumerate(best):
        none = np.full_like(level, -np.inf) if topic.must else level
        if count == 0 or not np.isfinite(best[count - 1][-1]):
            joined.append(none)
            traces.append(np.zeros(len(level), dtype=np.int64))
            continue
        added, given = _product(best[count - 1], worth)
        stays = none >= added
        joined.append(np.where(stays, none, added))
        traces.append(np.where(stays, 0, given))
    return joined, traces
