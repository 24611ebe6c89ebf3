"""Exact choice of topics, steps and minutes: a dynamic programme over minutes.

The task is a multiple-choice knapsack (one option for each step) with a limit on the number of
topics. Inside a topic the steps are folded in one after the other, then topics over (number of
topics, minutes); both are (max, +) products, exact for whole minutes (Kellerer, Pferschy and
Pisinger, Knapsack Problems, Springer 2004, chapter 11). Nothing is assumed of the worth of minutes
(it need not be concave). Every number of minutes up to the largest is solved at once; where topics
go round (`going_round`), each number of minutes by itself, since it says what each topic is to
have of them.

Order of wishes: first as many topics as the rules ask (`least`), then as many due topics as can
be touched, then as many cold takes of those asked for, then topics as near to their part of the
minutes as can be (squares of the differences), then points. So with no due topic and enough
minutes for `least` topics, more minutes never mean fewer points. Ties go to fewer minutes, fewer
topics, then the order of the rows.

`bound` leaves all but the points out and knows no periods: no plan of these options has more.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from coldtake.planning.day.composition.options import OptionTable, Points
from coldtake.planning.day.going_round import Parts, Rotation

_TIE = 1e-9  # points, and as a share of the weights of wishes
_CAPS_TRIED = 8
_NEARBY_MIN = 2  # minutes that may be lost for the periods' sake


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
    """What was chosen for a number of minutes; `points` is what it is worth.

    score : the points, and what keeping to the wishes counts; for choices of the same minutes
    """

    points: float
    minutes: int
    picks: tuple[Pick, ...]
    score: float = 0.0


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is wanted beside points.

    due : whether each topic must be touched tomorrow
    asked : rows whose cold take is asked for
    rotation : how the topics go round, None where they need not
    room : most minutes that each topic can use where nothing is insisted on
    """

    due: tuple[bool, ...]
    asked: frozenset[int] = frozenset()
    rotation: Rotation | None = None
    room: tuple[int, ...] = ()


def _shifted(base: Points, width: int) -> Points:
    """Rows t, columns c: base[t - c], -inf before the start (a view)."""
    padded = np.concatenate([np.full(width - 1, -np.inf), base])
    return np.lib.stride_tricks.sliding_window_view(padded, width)[:, ::-1]


def _product(base: Points, worth: Points) -> tuple[Points, NDArray[np.int64]]:
    """(max, +) product: best over c of base[t - c] + worth[c], and that c (the smallest)."""
    sums = _shifted(base, len(worth)) + worth
    taken = sums.argmax(axis=1)
    return sums[np.arange(len(base)), taken], taken


def _nothing(size: int) -> Points:
    """Points of using exactly so many minutes for nothing at all."""
    none = np.full(size, -np.inf)
    none[0] = 0.0
    return none


@dataclass(frozen=True, slots=True)
class _Stage:
    """One step folded into its topic: minutes taken, and whether others stood before it."""

    row: int
    taken: NDArray[np.int64]
    others: NDArray[np.bool_]


class _Topic:
    """Best points of one topic for exactly t minutes, with at least one slot."""

    def __init__(self, rows: Sequence[int], worth: Points, budget: int) -> None:
        self.stages: list[_Stage] = []
        self.rows = frozenset(rows)
        self.must = False
        self.best: Points = np.full(budget + 1, -np.inf)
        empty = _nothing(budget + 1)
        for row in rows:
            empty = self._fold(row, worth[row, : budget + 1], empty)

    @property
    def most(self) -> int:
        """Most minutes that its options can use, 0 where it has none."""
        return int(np.flatnonzero(np.isfinite(self.best)).max(initial=0))

    @property
    def least(self) -> int:
        """Fewest minutes with which it can be in."""
        return int(np.flatnonzero(np.isfinite(self.best)).min(initial=len(self.best)))

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
        """(row, minutes taken) of the best use of exactly so many minutes."""
        chosen = []
        for stage in reversed(self.stages):
            taken = int(stage.taken[minutes])
            if taken:
                chosen.append((stage.row, taken))
                minutes -= taken
                if not stage.others[minutes]:
                    break
        return chosen[::-1]


@dataclass(frozen=True, slots=True)
class _Solved:
    """Points by number of topics and exact minutes, and the minutes given to each topic."""

    best: list[Points]
    traces: list[list[NDArray[np.int64]]]


@dataclass(frozen=True, slots=True)
class _Evening:
    """Minutes of each topic (by its place), None where nothing fits, and the parts they keep to."""

    each: dict[int, int] | None
    parts: Parts | None

    @property
    def used(self) -> int:
        """Minutes that are used."""
        return sum((self.each or {}).values())


class DayChoice:
    """All choices for 0 to `budget` minutes.

    topics : for each topic the rows of its steps in `table`, in the player's order
    wanted : what is wanted beside points; its `due` and `rotation` go by the topics
    """

    def __init__(
        self,
        table: OptionTable,
        topics: Sequence[Sequence[int]],
        wanted: Wanted | Sequence[bool],
        limits: TopicLimits,
        budget: int,
    ) -> None:
        wants = wanted if isinstance(wanted, Wanted) else Wanted(tuple(map(bool, wanted)))
        self._table, self._budget, self._asked = table, budget, wants.asked
        plain = [_Topic(rows, table.worth, budget) for rows in topics]
        keep = [i for i, t in enumerate(plain) if t.most]
        self._topics = [plain[i] for i in keep]
        self._due = [bool(wants.due[i]) for i in keep]
        self._rotation = wants.rotation.of(keep) if wants.rotation else None
        room = wants.room or tuple(t.most for t in plain)
        self._room = [max(room[i], plain[i].least) for i in keep]
        musts = sum(t.must for t in self._topics)
        self._limits = TopicLimits(limits.least, max(limits.most, musts))
        self._whole = 1.0 + sum(max(float(t.best.max()), 0.0) for t in self._topics)
        self._asking = [topics[i] for i in keep] if wants.asked else None
        self._known: dict[int, _Evening] = {}

    @cached_property
    def _ask_weight(self) -> float:
        """What a cold take that is asked for counts: more than being near to all parts."""
        far = self._budget**2 * (len(self._topics) + 3) if self._rotation else 0
        return self._whole * (far + 1.0)

    @cached_property
    def _due_weight(self) -> float:
        """What touching a due topic counts: more than all cold takes that are asked for."""
        return self._ask_weight * (len(self._asked) + 1.0)

    @cached_property
    def _ranked_topics(self) -> list[_Topic]:
        """The topics with what is asked for in the worth of their options."""
        if self._asking is None:
            return self._topics
        worth = self._table.worth.copy()
        for row in self._asked:
            worth[row, self._table.has_cold[row]] += self._ask_weight
        return [_Topic(rows, worth, self._budget) for rows in self._asking]

    def _solve(self, worths: Sequence[Points], topics: Sequence[_Topic]) -> _Solved:
        """Fold topics over (topics used, minutes)."""
        size = self._budget + 1
        best = [_nothing(size), *(np.full(size, -np.inf) for _ in range(self._limits.most))]
        traces = []
        for topic, worth in zip(topics, worths, strict=True):
            best, trace = _with_topic(best, topic.must, worth)
            traces.append(trace)
        return _Solved(best, traces)

    def bound(self, minutes: int) -> float:
        """Upper bound on the points of any plan with so many minutes of playing."""
        return max(0.0, *(float(b[: minutes + 1].max()) for b in self._unranked.best))

    @cached_property
    def _unranked(self) -> _Solved:
        return self._solve([t.best for t in self._topics], self._topics)

    @cached_property
    def _free(self) -> _Solved:
        """All minutes at once: due topics and what is asked for, nobody going round."""
        if not any(self._due) and not self._asked:
            return self._unranked
        topics = self._ranked_topics
        bonus = [self._due_weight if due else 0.0 for due in self._due]
        return self._solve([t.best + b for t, b in zip(topics, bonus, strict=True)], topics)

    def _parts(self, minutes: int, rotation: Rotation) -> Parts:
        shortest = self._table.limits.least
        least = [shortest if t.must else t.least for t in self._topics]
        insisted = [t.least if t.must else 0 for t in self._topics]
        return rotation.parts(minutes, self._room, least, insisted, self._limits.most)

    def _going_round(self, minutes: int, rotation: Rotation) -> _Evening:
        """Solve for one number of minutes, the limits falling until each topic keeps its share.

        Where the topics of the session cannot use the minutes, what the others leave is free.
        """
        parts = self._parts(minutes, rotation)
        if not rotation.shares_out:
            each = self._minutes_each(self._free, minutes)
            if not each or not parts.exceeded(each, sum(each.values())):
                return _Evening(each, parts)
        made = self._kept_share(minutes, parts)
        if not made.each or minutes - made.used < self._table.limits.least:
            return made
        room = {place: self._room[place] for place in made.each}
        freed = self._kept_share(minutes, parts.freed(minutes, room))
        return freed if freed.used > made.used else made

    def _kept_share(self, minutes: int, parts: Parts) -> _Evening:
        topics, size = self._ranked_topics, self._budget + 1
        bonus = [self._due_weight if due else 0.0 for due in self._due]
        for _ in range(_CAPS_TRIED):
            counted = [self._whole * parts.counted(i, size) for i in range(len(topics))]
            worths = [t.best + c + b for t, c, b in zip(topics, counted, bonus, strict=True)]
            each = self._minutes_each(self._solve(worths, topics), minutes)
            if each is None:
                return _Evening(self._minutes_each(self._free, minutes), None)
            if not parts.exceeded(each, sum(each.values())):
                break
            parts = parts.lower(sum(each.values()))
        return _Evening(each, parts)

    def _evening(self, minutes: int) -> _Evening:
        if self._rotation is None:
            return _Evening(self._minutes_each(self._free, minutes), None)
        if minutes not in self._known:
            self._known[minutes] = self._going_round(minutes, self._rotation)
        return self._known[minutes]

    def _fill(self, minutes: int) -> float:
        """What a minute not used counts where topics go round: more than any distance."""
        shares_out = self._rotation is not None and self._rotation.shares_out
        return 2.0 * self._whole * minutes if shares_out else 0.0

    def _minutes_each(self, solved: _Solved, minutes: int) -> dict[int, int] | None:
        """Minutes of each topic (by its place) in the best choice of at most so many.

        None when the minutes cannot hold what must be in.
        """
        fill = self._fill(minutes) * np.arange(-minutes, 1)
        levels = [b[: minutes + 1] + fill for b in solved.best]
        count = self._topics_for([float(level.max()) for level in levels], minutes)
        if count is None:
            return None
        level = levels[count]
        left = int(np.argmax(level >= level.max() - self._tie))
        each: dict[int, int] = {}
        for place in reversed(range(len(self._topics))):
            given = int(solved.traces[place][count][left])
            if given:
                each[place] = given
                count, left = count - 1, left - given
        return each

    def _topics_for(self, top: Sequence[float], minutes: int) -> int | None:
        """Return how many topics to use, by the best score of each number of them."""
        wanted = min(self._limits.least, max(minutes // self._table.limits.least, 1))
        enough = [n for n in range(wanted, len(top)) if np.isfinite(top[n])]
        if enough:
            best = max(top[n] for n in enough)
            return next(n for n in enough if top[n] >= best - self._tie)
        return max((n for n in range(min(wanted, len(top))) if np.isfinite(top[n])), default=None)

    @cached_property
    def _tie(self) -> float:
        """Score by which two choices may differ and be equal: the rounding of points or weights."""
        wishes = any(self._due) or self._asked or self._rotation
        return _TIE + (1e-15 * self._due_weight * (len(self._due) + 1) if wishes else 0.0)

    def shared_rows(self, minutes: int, used: int) -> frozenset[int]:
        """Rows of the topics that may not take more than their share of the minutes used."""
        parts = self._evening(minutes).parts
        if parts is None:
            return frozenset()
        bound = parts.bound(used)
        rows = [t.rows for t, held in zip(self._topics, bound, strict=True) if held]
        return frozenset().union(*rows)

    def choose(self, minutes: int) -> Choice | None:
        """Return the best choice of at most so many minutes, 0 <= minutes <= budget.

        None when what the player insists on needs more minutes.
        """
        each = self._evening(minutes).each
        if each is None:
            return None
        topics = self._ranked_topics
        taken = [pair for place, given in each.items() for pair in topics[place].options_at(given)]
        return self.valued([self._pick(row, cost) for row, cost in sorted(taken)], minutes)

    def _pick(self, row: int, taken: int) -> Pick:
        cold = bool(self._table.has_cold[row, taken])
        return Pick(row, cold, taken - int(self._table.cold_min[row]) * cold)

    def valued(self, picks: Sequence[Pick], minutes: int, points: float | None = None) -> Choice:
        """Say what some picks are worth, and how near they come to what is wanted.

        minutes : there were; points : where they are not those of the table's options
        """
        cold = self._table.cold_min
        taken = {p.row: p.work_min + int(cold[p.row]) * p.cold for p in picks}
        if points is None:
            points = sum(float(self._table.worth[row, c]) for row, c in taken.items())
        each = {
            place: sum(c for row, c in taken.items() if row in topic.rows)
            for place, topic in enumerate(self._topics)
        }
        asked = sum(p.cold for p in picks if p.row in self._asked)
        score = points + self._ask_weight * asked
        score += self._due_weight * sum(self._due[i] and each[i] > 0 for i in each)
        if self._rotation is not None:
            parts = self._evening(minutes).parts or self._parts(minutes, self._rotation)
            far = sum(float(parts.counted(i, each[i] + 1)[-1]) for i in each)
            score += self._whole * (far if np.isfinite(far) else -float(self._budget**2))
            score -= self._fill(minutes) * (minutes - sum(each.values()))
        return Choice(points, sum(taken.values()), tuple(picks), score)

    def nearly(self, choice: Choice, other: Choice, share: float) -> bool:
        """Say whether another choice loses no more than a share of the points, and a minute or two.

        What it loses of the wishes is then no more than these minutes on each topic.
        """
        lost, least = choice.minutes - other.minutes, (1.0 - share) * choice.points
        fill = self._fill(choice.minutes) * lost
        far = self._whole * (2 * _NEARBY_MIN) ** 2 if self._rotation else share * choice.points
        return (
            other.points >= least
            and (self._rotation is None or lost <= _NEARBY_MIN)
            and choice.score - other.score - fill <= far
        )


def _with_topic(
    best: list[Points], must: bool, worth: Points
) -> tuple[list[Points], list[NDArray[np.int64]]]:
    """Fold one topic in, for every number of topics. must : it has something that must be in."""
    last = int(np.flatnonzero(np.isfinite(worth)).max(initial=0))
    worth = worth[: last + 1]
    joined, traces = [], []
    for count, level in enumerate(best):
        none = np.full_like(level, -np.inf) if must else level
        if count == 0 or not np.isfinite(best[count - 1]).any():
            joined.append(none)
            traces.append(np.zeros(len(level), dtype=np.int64))
            continue
        added, given = _product(best[count - 1], worth)
        stays = none >= added
        joined.append(np.where(stays, none, added))
        traces.append(np.where(stays, 0, given))
    return joined, traces
