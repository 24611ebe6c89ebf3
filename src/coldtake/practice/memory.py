"""The state, kept up as events come: in order at once, late ones by replaying what is recent.

`base` is the state up to a while ago, `recent` the events after it in their order, `present` both
together. A late event usually lies within `recent`; an older one asks for the whole log again.
"""

from bisect import insort
from collections.abc import Callable, Iterable

from coldtake.domain.events import Event
from coldtake.domain.state import State, apply, order_key

RECENT_MOST = 2000


class Memory:
    """Not thread-safe; its owner locks.

    read_all : gives the whole log as (sequence number, event) in order of arrival
    seen : sequence number of the newest event that has been taken in
    """

    def __init__(self, read_all: Callable[[], Iterable[tuple[int, Event]]]) -> None:
        self.seen = 0
        self._read_all = read_all
        self._base = State()
        self._recent: list[Event] = []
        self._present = State()
        self._snapshot: State | None = None

    def take_in(self, rows: Iterable[tuple[int, Event]]) -> None:
        """Let new events of the log happen, each (sequence number, event) once."""
        late = False
        for sequence, event in rows:
            if sequence <= self.seen:
                continue
            if self._base.last is not None and order_key(event) < self._base.last:
                self._rebuild()
                late = False
                continue
            self.seen = sequence
            late = self._add(event) or late
        if late:
            self._present = _replayed(self._base.copy(), self._recent)
        self._let_settle()

    def snapshot(self) -> State:
        """Return the state as it is now; later events do not change what was returned."""
        if self._snapshot is None:
            self._snapshot = self._present.copy()
        return self._snapshot

    def _add(self, event: Event) -> bool:
        """Put one event into its place; say whether it came late."""
        self._snapshot = None
        newest = order_key(self._recent[-1]) if self._recent else self._base.last
        insort(self._recent, event, key=order_key)
        if newest is not None and order_key(event) < newest:
            return True
        apply(self._present, event)
        return False

    def _rebuild(self) -> None:
        rows = list(self._read_all())
        self.seen = rows[-1][0]
        self._snapshot = None
        self._recent = sorted((event for _, event in rows), key=order_key)
        self._base = State()
        self._present = _replayed(State(), self._recent)
        self._let_settle()

    def _let_settle(self) -> None:
        if len(self._recent) > RECENT_MOST:
            settled = len(self._recent) - RECENT_MOST // 2
            _replayed(self._base, self._recent[:settled])
            del self._recent[:settled]


def _replayed(state: State, events: Iterable[Event]) -> State:
    for event in events:
        apply(state, event)
    return state
