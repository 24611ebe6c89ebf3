"""In which order the slots of a session stand, their periods being decided.

A search over sequences, period by period, that keeps for every (slots used, last slot) only the
best way there: exact as long as no more than `_WIDTH` such states arise at one place, a beam
search beyond that. Broken rules cost most: the same step twice running, a cold take after work on
its topic, a wished place not kept. Then come taste: cold takes first, neighbours from different
topics and never the same exercise, new work before easier work.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from coldtake.planning.pieces import Piece

_WIDTH = 400
_BROKEN = 1e6
_PLACE = 1e5
_SAME_EXERCISE = 100.0
_COLD_LATE = 10.0
_SAME_TOPIC = 1.0
_NEW_LATE = 0.01
_RANK = 1e-5


@dataclass(frozen=True, slots=True)
class _Way:
    cost: float
    order: tuple[int, ...]


def _step_cost(before: Piece | None, piece: Piece) -> float:
    """Cost of playing this slot straight after that one."""
    if before is None:
        return 0.0
    if before.step_id == piece.step_id:
        return _BROKEN
    same_topic = before.topic_id == piece.topic_id
    alike = bool(piece.exercise) and same_topic and before.exercise == piece.exercise
    cost = _SAME_EXERCISE if alike else 0.0
    if same_topic:
        cost += _SAME_TOPIC * (0.2 if before.cold and piece.cold else 1.0)
    return cost


def _late_cold_cost(pieces: Sequence[Piece], way: Sequence[int], piece: Piece) -> float:
    worked = [pieces[i] for i in way if not pieces[i].cold]
    if any(w.topic_id == piece.topic_id for w in worked):
        return _BROKEN
    return _COLD_LATE * bool(worked)


def _place_cost(piece: Piece, at: int, size: int) -> float:
    wish = piece.wish
    if wish is None or wish.period is None or wish.index is None:
        return 0.0
    return _PLACE * abs(min(wish.index, size - 1) - at)


class _Search:
    def __init__(self, pieces: Sequence[Piece]) -> None:
        self.pieces = pieces

    def extend(self, ways: list[_Way], members: Sequence[int]) -> list[_Way]:
        """Append one period's slots to every way, in the best orders."""
        states = {(0, _last(w)): w for w in ways}
        start = len(ways[0].order)
        for at in range(len(members)):
            states = self._one_more(states, members, at, start)
        return sorted(states.values(), key=lambda w: (w.cost, w.order))

    def _one_more(
        self, states: dict[tuple[int, int], _Way], members: Sequence[int], at: int, start: int
    ) -> dict[tuple[int, int], _Way]:
        found: dict[tuple[int, int], _Way] = {}
        for (used, _last_slot), way in states.items():
            for bit, slot in enumerate(members):
                if used >> bit & 1:
                    continue
                cost = way.cost + self._cost(way, slot, at, len(members), start)
                new, key = _Way(cost, (*way.order, slot)), (used | 1 << bit, slot)
                if key not in found or (cost, new.order) < (found[key].cost, found[key].order):
                    found[key] = new
        best = sorted(found.items(), key=lambda item: (item[1].cost, item[1].order))
        return dict(best[:_WIDTH])

    def _cost(self, way: _Way, slot: int, at: int, size: int, start: int) -> float:
        piece = self.pieces[slot]
        before = self.pieces[way.order[-1]] if way.order else None
        cost = _step_cost(before, piece) + _place_cost(piece, at, size) + _RANK * slot * (size - at)
        if piece.cold:
            return cost + _late_cold_cost(self.pieces, way.order[start:], piece)
        return cost + _NEW_LATE * piece.newness * at


def _last(way: _Way) -> int:
    return way.order[-1] if way.order else -1


def in_order(pieces: Sequence[Piece], periods: Sequence[int]) -> tuple[tuple[Piece, ...], ...]:
    """Order the slots inside their periods (given for each slot); empty periods fall away."""
    search, ways = _Search(pieces), [_Way(0.0, ())]
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
