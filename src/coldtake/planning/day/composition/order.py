"""In which order the slots of a session stand, their periods being decided.

A search over sequences, period by period, that keeps for every (slots used, last slot) only the
best way there: exact as long as no more than `_WIDTH` such states arise at one place, a beam
search beyond that. Broken rules cost most: the same step twice running, a cold take after work on
its topic, a wished place not kept. Then come taste: cold takes first, neighbours from different
topics and never the same exercise, new work before easier work. A slot with a wished minute stands
where it begins nearest to it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from coldtake.planning.day.composition.slot_drafts import SlotDraft

_WIDTH = 150
_TIMED_WIDTH = 2000  # with a wished minute, what stands before it decides: more ways are kept
_BROKEN = 1e6
_SAME_EXERCISE = 100.0
_COLD_LATE = 10.0
_SAME_TOPIC = 1.0
_NEW_LATE = 0.01
_RANK = 1e-5
_OFF_MINUTE = 1e3


@dataclass(frozen=True, slots=True)
class _Way:
    """A sequence so far; `worked` is a bit set of the topics worked on in this period."""

    cost: float
    order: tuple[int, ...]
    worked: int = 0


def _pair_cost(before: SlotDraft, piece: SlotDraft) -> float:
    """Cost of playing this slot straight after that one."""
    if before.step_id == piece.step_id:
        return _BROKEN
    if before.topic_id != piece.topic_id:
        return 0.0
    alike = bool(piece.exercise) and before.exercise == piece.exercise
    near = _SAME_TOPIC * (0.2 if before.cold and piece.cold else 1.0)
    return near + (_SAME_EXERCISE if alike else 0.0)


def _fixed(pieces: Sequence[SlotDraft], members: Sequence[int], by_minute: bool) -> dict[int, int]:
    """Return place -> slot for slots with a wished index.

    Two at one place stand side by side; all keep their order, also past the end.
    by_minute : those with a wished minute are left out
    """
    wished = sorted(
        (piece.wish.index, slot)
        for slot in members
        if (piece := pieces[slot]).wish and piece.wish.period is not None
        if piece.wish.index is not None and not (by_minute and piece.wish.at_min is not None)
    )
    fixed: dict[int, int] = {}
    place = -1
    for behind, (index, slot) in zip(range(len(wished), 0, -1), wished, strict=True):
        place = max(place + 1, min(index, len(members) - behind))
        fixed[place] = slot
    return fixed


class _Search:
    def __init__(self, pieces: Sequence[SlotDraft], break_min: int, by_minute: bool) -> None:
        self.pieces, self.break_min, self.by_minute = pieces, break_min, by_minute
        self.start_min = 0  # of the period that is being filled
        self.timed = any(p.wish and p.wish.at_min is not None for p in pieces)
        self.pairs = [[_pair_cost(a, b) for b in pieces] for a in pieces]
        bits = {t: 1 << n for n, t in enumerate(dict.fromkeys(p.topic_id for p in pieces))}
        self.bits = [bits[p.topic_id] for p in pieces]

    def extend(self, ways: list[_Way], members: Sequence[int]) -> list[_Way]:
        """Append one period's slots to every way, in the best orders."""
        states = {(0, _last(w)): _Way(w.cost, w.order) for w in ways}
        fixed = _fixed(self.pieces, members, self.by_minute)
        placed = set(fixed.values())
        for at in range(len(members)):
            open_slots = [fixed[at]] if at in fixed else [s for s in members if s not in placed]
            costs = {s: self._at_cost(s, at, len(members)) for s in open_slots}
            states = self._one_more(states, members, costs)
        self.start_min += sum(self.pieces[s].minutes for s in members) + self.break_min
        return sorted(states.values(), key=lambda w: (w.cost, w.order))

    def _one_more(
        self,
        states: dict[tuple[int, int], _Way],
        members: Sequence[int],
        costs: Mapping[int, float],
    ) -> dict[tuple[int, int], _Way]:
        found: dict[tuple[int, int], _Way] = {}
        for (used, last), way in states.items():
            begins = self._begins(used, members)
            for bit, slot in enumerate(members):
                if used >> bit & 1 or slot not in costs:
                    continue
                cost = way.cost + costs[slot] + self._after_cost(way, last, slot)
                cost += self._off_cost(slot, begins)
                key = (used | 1 << bit, slot)
                known = found.get(key)
                if known is None or cost < known.cost:
                    found[key] = self._longer(way, slot, cost)
        width = _TIMED_WIDTH if self.timed else _WIDTH
        if len(found) <= width:
            return found
        best = sorted(found.items(), key=lambda item: (item[1].cost, item[1].order))
        return dict(best[:width])

    def _begins(self, used: int, members: Sequence[int]) -> int:
        """Minutes from the session's start to the end of the slots used in this period."""
        if not self.timed:
            return 0
        sizes = (self.pieces[s].minutes for bit, s in enumerate(members) if used >> bit & 1)
        return self.start_min + sum(sizes)

    def _off_cost(self, slot: int, begins: int) -> float:
        wish = self.pieces[slot].wish
        if wish is None or wish.at_min is None:
            return 0.0
        return _OFF_MINUTE * abs(begins - wish.at_min)

    def _longer(self, way: _Way, slot: int, cost: float) -> _Way:
        worked = way.worked if self.pieces[slot].cold else way.worked | self.bits[slot]
        return _Way(cost, (*way.order, slot), worked)

    def _after_cost(self, way: _Way, last: int, slot: int) -> float:
        """Cost of what stands before: the neighbour, and for a cold take any work."""
        cost = self.pairs[last][slot] if last >= 0 else 0.0
        if way.worked and self.pieces[slot].cold:
            cost += _BROKEN if way.worked & self.bits[slot] else _COLD_LATE
        return cost

    def _at_cost(self, slot: int, at: int, size: int) -> float:
        piece = self.pieces[slot]
        new = 0.0 if piece.cold else _NEW_LATE * piece.newness * at
        return new + _RANK * slot * (size - at)


def _last(way: _Way) -> int:
    return way.order[-1] if way.order else -1


def in_order(
    pieces: Sequence[SlotDraft],
    periods: Sequence[int],
    break_min: int = 0,
    *,
    by_minute: bool = False,
) -> tuple[tuple[SlotDraft, ...], ...]:
    """Order the slots inside their periods (given for each slot); empty periods fall away.

    by_minute : a slot with a wished minute and index may leave the index for the minute
    """
    search, ways = _Search(pieces, break_min, by_minute), [_Way(0.0, ())]
    sizes = []
    for p in sorted(set(periods)):
        members = [s for s, where in enumerate(periods) if where == p]
        ways = search.extend(ways, members)
        sizes.append(len(members))
    order = list(ways[0].order)
    made = []
    for size in sizes:
        made.append(tuple(pieces[i] for i in order[:size]))
        order = order[size:]
    return tuple(made)
