"""Chance and ids that come out the same for the same seed and the same day.

An event's id is a UUIDv7 of its own instant with random bytes drawn from the seed, so that a
demo's log looks like a played one and building it twice gives the same log.
"""

from collections.abc import Sequence
from datetime import date, datetime

import numpy as np

from coldtake.domain.events import AnyData, Event
from coldtake.domain.ids import uuid7


class Ledger:
    """Events in the making; `take_out` hands them over for one append."""

    def __init__(self, seed: int) -> None:
        self._bytes = np.random.default_rng([seed, 1])
        self._events: list[Event] = []

    def new_id(self, at: datetime) -> str:
        """Draw a fresh UUIDv7 of an instant."""
        return uuid7(int(at.timestamp() * 1000), self._bytes.bytes(10))

    def note(self, at: datetime, day: date, data: AnyData) -> Event:
        """Write one event down."""
        event = Event(id=self.new_id(at), at=at, day=day, data=data)
        self._events.append(event)
        return event

    def take_out(self) -> Sequence[Event]:
        """Return what was written since the last call."""
        events, self._events = self._events, []
        return events
