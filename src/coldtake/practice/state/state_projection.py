"""The state, kept up as events come: in order at once, late ones by replaying what is recent.

Marks are copies of the state at some places of the recent events. A late event is put into its
place, and what follows it is replayed from the last mark before it; one older than all marks asks
for the whole log again. What the log came to is kept on a shelf, with the place up to which it was
read and the code that read it, so that a start does not read ten years. A mark of some weeks ago is
kept there, not the present: a tablet that comes home late then finds its place.
"""

from bisect import bisect_right
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import msgspec

from coldtake.domain import events as ev
from coldtake.domain.days import Span
from coldtake.domain.history.misdated import counts
from coldtake.domain.history.projection import apply, order_key
from coldtake.domain.history.state import State
from coldtake.domain.instants import possible
from coldtake.ports import DerivedCache, Store
from coldtake.practice.state import snapshots

RECENT_MOST = 4000  # events behind the first mark that are held ready
MARK_EVERY = 500
SHELVED_RECENT = 1000  # events that a start replays: about two weeks of playing every day
DEEP_MOST = 30_000  # as many are held after something very late came: more of it will
TOLD_EVERY = 500
NAME = "state"

Rows = Iterable[tuple[int, ev.Event]]
Told = tuple[datetime, str, int, ev.Event]  # sorts by instant, then id; with its number in the log


@dataclass(slots=True)
class _Mark:
    """The state before `recent[at:]`."""

    at: int
    state: State


class StateProjection:
    """Not thread-safe; its owner locks.

    seen : sequence number of the newest event that has been taken in
    saved : the one up to which the shelf knows
    reading : how far the whole log has been read while it is; other threads look at it
    """

    def __init__(self, store: Store, shelf: DerivedCache | None = None) -> None:
        self.seen = 0
        self.saved = 0
        self._store = store
        self._shelf = shelf
        self._recent: list[Told] = []
        self._marks = [_Mark(0, State())]
        self._present = State()
        self._snapshot: State | None = None
        self._hold = RECENT_MOST
        self.reading: tuple[int, int] | None = None  # events read and in all, by `_rebuild`
        self._late: int | None = None  # from here on the present is not right until it is replayed

    def begin(self) -> None:
        """Take what the shelf has of this log, else read all of it."""
        if not self._unshelved():
            self._rebuild()

    def take_in(self, rows: Rows) -> None:
        """Let new events of the log happen, each (sequence number, event) once."""
        again = False
        for sequence, event in rows:
            if sequence <= self.seen:
                continue
            # What is held from before would bring back what was emptied in the log.
            again = again or isinstance(event.data, ev.TakeDeleted)
            if not possible(event.at):  # it would stand at one end of the log for ever
                self.seen = sequence
                continue
            first = self._marks[0].state.last
            if first is not None and order_key(event) < first:
                self._rebuild(event)
            else:
                self.seen = sequence
                self._add((event.at, event.id, sequence, _light(event)))
        if again:
            self._rebuild()
            self.saved = 0
        self._replay()
        self._let_go()

    def snapshot(self) -> State:
        """Return the state as it is now; later events do not change what was returned."""
        if self._snapshot is None:
            self._present.phases()  # once here, and not by every reader of a copy
            self._snapshot = self._present.copy()
        return self._snapshot

    @property
    def last(self) -> tuple[datetime, date] | None:
        """Instant and day of the newest event, by what happened."""
        newest, day = self._present.last, self._present.last_day
        return None if newest is None or day is None else (newest[0], day)

    @property
    def began(self) -> datetime | None:
        """Instant of the log's first topic."""
        return self._present.began

    @property
    def acted(self) -> Mapping[date, datetime]:
        """When the player did the last thing of each practice day."""
        return self._present.acted

    def planned(self, day: date) -> Span | None:
        """From the first start to the last end of a day's plans by the wall clock, None without."""
        plans = self._present.plans_on(day)
        if not plans:
            return None
        ends = [p.request.starts + timedelta(minutes=p.minutes) for p in plans]
        return plans[0].request.starts, max(ends)

    @property
    def unsaved(self) -> int:
        """How many events the shelf does not know of; 0 without a shelf."""
        return 0 if self._shelf is None else self.seen - self.saved

    def saving(self) -> Callable[[], None]:
        """Return the work of putting on the shelf what a start needs; another thread may do it."""
        wanted = len(self._recent) - SHELVED_RECENT
        mark = [m for m in self._marks if m.at <= wanted or m is self._marks[0]][-1]
        _mark_alike(self.snapshot(), mark.state)
        numbers = [sequence for _, _, sequence, _ in self._recent[mark.at :]]
        state, upto, shelf = mark.state.copy(), self.seen, self._shelf
        self.saved = upto

        def save() -> None:
            if shelf is not None:
                shelf.put(NAME, snapshots.MAKER, upto, snapshots.write(state, numbers))

        return save

    def _unshelved(self) -> bool:
        kept = self._shelf.fetch(NAME, snapshots.MAKER) if self._shelf else None
        found = snapshots.read(kept[1]) if kept else None
        if kept is None or found is None:
            return False
        state, numbers = found
        recent = self._numbered(numbers)
        if len(recent) != len(numbers):
            return False
        self._marks, self._recent = [_Mark(0, state)], recent
        self.seen = self.saved = kept[0]
        self._late, self._snapshot = 0, None
        self._replay()
        return True

    def _numbered(self, numbers: list[int]) -> list[Told]:
        """Read the events of some numbers; fewer where they lie too far apart to look for them."""
        if not numbers or max(numbers) - min(numbers) > 4 * RECENT_MOST:
            return []
        wanted, found = set(numbers), []
        for sequence, event in self._store.events(after=min(numbers) - 1):
            if sequence > max(numbers):
                break
            if sequence in wanted:
                found.append((event.at, event.id, sequence, _light(event)))
        return sorted(found)

    def _add(self, told: Told) -> None:
        """Put one event into its place; let it happen if nothing came after it."""
        self._snapshot = None
        place = bisect_right(self._recent, told)
        self._recent.insert(place, told)
        if place < len(self._recent) - 1:
            self._late = place if self._late is None else min(self._late, place)
        if self._late is None:
            self._happen(told)

    def _happen(self, told: Told) -> None:
        apply(self._present, told[3])

    def _replay(self) -> None:
        """Compute the present again from the last mark before what came late."""
        if self._late is not None:
            while self._marks[-1].at > self._late:
                self._marks.pop()
            start, self._late = self._marks[-1], None
            self._present = start.state.copy()
            for number, told in enumerate(self._recent[start.at :], start=start.at + 1):
                self._happen(told)
                self._mark(number)
        self._mark(len(self._recent))

    def _rebuild(self, late: ev.Event | None = None) -> None:
        """Read the whole log; what follows `late` is held, for more may come as late."""
        self.reading = (0, self._store.last_sequence())
        try:
            self._read_all(late)
        finally:
            self.reading = None

    def _read_all(self, late: ev.Event | None, *, again: bool = True) -> None:
        total = self._store.last_sequence()
        self._snapshot = self._late = None
        self._recent, self._present = [], State()
        self._marks, self._hold = [_Mark(0, State())], RECENT_MOST
        for done, (sequence, event) in enumerate(self._store.history()):
            if done % TOLD_EVERY == 0:
                self.reading = (done, total)
            self.seen = max(self.seen, sequence)
            if not counts(self._present, event):
                continue
            first = self._marks[0].state.last
            if first is not None and order_key(event) < first and again:
                # An entry was mended while it was read: now its instant can be relied on.
                self._read_all(late, again=False)
                return
            if late is not None and event.id == late.id:
                self._hold = DEEP_MOST
            self._add((event.at, event.id, sequence, _light(event)))
            self._mark(len(self._recent))
            self._let_go()
        self._replay()
        self._hold = max(RECENT_MOST, len(self._recent) + MARK_EVERY)

    def _mark(self, number: int) -> None:
        if self._late is None and number - self._marks[-1].at >= MARK_EVERY:
            self._marks.append(_Mark(number, self._present.copy()))

    def _let_go(self) -> None:
        """Let go of the oldest events, up to a mark."""
        while len(self._recent) > self._hold and len(self._marks) > 1 and self._late is None:
            self._marks.pop(0)
            gone = self._marks[0].at
            del self._recent[:gone]
            for mark in self._marks:
                mark.at -= gone


def _mark_alike(known: State, other: State) -> None:
    """Give a state the marks of another one where the pasts of both are the same."""
    for step_id, mark in known.marks.items():
        if known.prints.get(step_id) == other.prints.get(step_id):
            other.marks.setdefault(step_id, mark)


def _light(event: ev.Event) -> ev.Event:
    """Leave out what the state does not hold, so that recent events are small."""
    if not isinstance(event.data, ev.TakeJudged):
        return event
    data = msgspec.structs.replace(event.data, verdict=event.data.verdict.said())
    return msgspec.structs.replace(event, data=data)
