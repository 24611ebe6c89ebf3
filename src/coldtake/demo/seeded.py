"""A clock for the story: its time is set by the teller, its ids are drawn from the seed.

An id is a UUIDv7 of the story's instant with random bytes drawn from the seed, so that a demo's log
looks like a played one, and building it twice on the same day gives the same log.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
from datetime import datetime, timedelta

import numpy as np

from coldtake.domain.events import Event
from coldtake.domain.history.deleted_takes import to_empty
from coldtake.domain.history.projection import order_key
from coldtake.domain.ids import uuid7


class StoryClock:
    """`ports.Clock` whose instant is set from outside."""

    def __init__(self, start: datetime, seed: int) -> None:
        self.instant = start
        self._bytes = np.random.default_rng([seed, 1])

    def now(self) -> datetime:
        """Return the story's present instant."""
        return self.instant

    def new_id(self) -> str:
        """Draw a fresh UUIDv7 of that instant."""
        return uuid7(int(self.instant.timestamp() * 1000), self._bytes.bytes(10))

    def wait(self, seconds: float) -> datetime:
        """Let time pass, return the new instant."""
        self.instant += timedelta(seconds=seconds)
        return self.instant


class Draft:
    """`ports.Store` in memory: the story is told whole before anything reaches the player's log."""

    def __init__(self) -> None:
        self._events: dict[str, Event] = {}
        self._refused: list[tuple[datetime, str, bytes]] = []

    def append(self, events: Iterable[Event]) -> int:
        """Append events, return how many were new."""
        before = len(self._events)
        for event in events:
            self._events.setdefault(event.id, event)
        return len(self._events) - before

    def refuse(self, raw: bytes, why: str, at: datetime) -> None:
        """Keep what could not become an event."""
        self._refused.append((at, why, raw))

    def refuse_all(self, refused: Iterable[tuple[datetime, str, bytes]]) -> None:
        """Keep many."""
        self._refused.extend(refused)

    def refused(self, because: str = "") -> Sequence[tuple[datetime, str, bytes]]:
        """Return what was refused."""
        return [one for one in self._refused if because in one[1]]

    def events(self, after: int = 0) -> Iterator[tuple[int, Event]]:
        """Give (sequence number, event) in order of arrival."""
        told = list(self._events.values())[after:]
        return iter(enumerate(told, start=after + 1))

    def history(self) -> Iterator[tuple[int, Event]]:
        """Give (sequence number, event) in the order in which things happened."""
        return iter(sorted(self.events(), key=lambda told: order_key(told[1])))

    def outside(self, first: datetime, last: datetime) -> Sequence[tuple[int, Event]]:
        """Return those before `first` or after `last`."""
        days = (first.date(), last.date())
        return [
            (number, event)
            for number, event in self.events()
            if not (first <= event.at <= last and days[0] <= event.day <= days[1])
        ]

    def entries_of_takes(self, take_ids: Collection[str]) -> Iterator[Event]:
        """Give the entries that still hold something of some takes."""
        return iter([e for e in self._events.values() if to_empty(e, take_ids)])

    def empty(self, emptied: Sequence[Event], said: Sequence[Event]) -> None:
        """Put emptied entries in their places and append what says so."""
        self._events.update((event.id, event) for event in emptied)
        self.append(said)

    def compact(self) -> bool:
        """Memory holds nothing else."""
        return True

    def last_sequence(self) -> int:
        """Return the number of events told so far."""
        return len(self._events)

    def event(self, event_id: str) -> Event | None:
        """Return one event by its id."""
        return self._events.get(event_id)

    def amiss(self) -> str:
        """Memory is always at its place."""
        return ""

    def confirm(self) -> None:
        """It is."""

    def close(self) -> None:
        """Nothing is open."""
