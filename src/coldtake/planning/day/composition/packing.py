"""Do slots of given minutes fit into periods at all? A small exact search, longest first.

Used for what the player insists on, where only the hard limits count, and for sessions so full
that only fitting counts (integer programming is slow to prove that). The search is cut after
`_NODES` tries, the same on every run; what it has not found by then counts as not fitting.
"""

from collections.abc import Sequence

_NODES = 5000


class _Search:
    def __init__(self, sizes: Sequence[int], free: list[int], alike: Sequence[str]) -> None:
        self.sizes, self.free, self.alike = sizes, free, alike
        self.where = [-1] * len(sizes)
        self.left = _NODES

    def put(self, order: Sequence[int]) -> bool:
        """Place the slots in this order, each where most room is first."""
        if not order:
            return True
        slot, rest = order[0], order[1:]
        tried: set[int] = set()
        barred = self._barred(slot)
        for p in sorted(range(len(self.free)), key=lambda q: (-self.free[q], q)):
            room = self.free[p]
            if room < self.sizes[slot] or p in barred or self.left <= 0:
                continue
            if room in tried and not self.alike:  # periods differ by what stands in them
                continue
            tried.add(room)
            self.left -= 1
            self.free[p], self.where[slot] = room - self.sizes[slot], p
            if self.put(rest):
                return True
            self.free[p], self.where[slot] = room, -1
        return False

    def _barred(self, slot: int) -> set[int]:
        """Periods in which a slot with the same mark stands."""
        mark = self.alike[slot] if self.alike else ""
        if not mark:
            return set()
        return {self.where[n] for n, other in enumerate(self.alike) if other == mark} - {-1}


def pack(
    sizes: Sequence[int],
    places: Sequence[int | None],
    periods: int,
    cap: int,
    alike: Sequence[str] = (),
) -> tuple[int, ...] | None:
    """Return a period for each slot so that none is over the cap, or None.

    places : the period a slot must stand in (from 0; past the last means the last), or None
    alike : a mark for each slot; those with the same mark (not "") lie in different periods
    """
    free = [cap] * periods
    search = _Search(sizes, free, alike)
    loose = []
    for slot, place in enumerate(places):
        if place is None:
            loose.append(slot)
        else:
            at = min(place, periods - 1)
            free[at] -= sizes[slot]
            search.where[slot] = at
    if min(free) < 0 or not search.put(sorted(loose, key=lambda s: (-sizes[s], s))):
        return None
    return tuple(search.where)
