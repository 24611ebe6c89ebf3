"""The log with the state that follows from it: what every use case reads and writes through."""

import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import islice

from coldtake.domain.days import Span, day_at, is_night
from coldtake.domain.events import AnyData, EntryMisdated, Event
from coldtake.domain.history.misdated import waiting_id
from coldtake.domain.history.state import State
from coldtake.domain.instants import Misdating, believed, misdating, possible
from coldtake.ports import Clock, DerivedCache, Store
from coldtake.practice.state.estimate_cache import EstimateCache
from coldtake.practice.state.state_projection import StateProjection

_TICK = timedelta(microseconds=1)
_BATCH = 2000
SAVE_FROM = 1000  # new events from which on the next start is spared more than the writing costs


@dataclass(frozen=True, slots=True)
class DaysNear:
    """What decides the practice day (`domain.days.day_at`), of three dates around now."""

    acted: dict[date, datetime]
    planned: dict[date, Span]


class Log:
    """Thread-safe. Events of other processes on the same store are seen at the next reading."""

    def __init__(self, store: Store, clock: Clock) -> None:
        self.store = store
        self.clock = clock
        self._lock = threading.RLock()
        self._memory = StateProjection(store, store if isinstance(store, DerivedCache) else None)
        self._begun = False
        self.preparing = False  # somebody has begun to read the log, before it is asked for
        self.learned = EstimateCache(store)
        self._issued: datetime | None = None

    def state(self) -> State:
        """Return the present state; it does not change under the reader's hands."""
        with self._lock:
            self._catch_up()
            return self._memory.snapshot()

    def get_ready(self) -> None:
        """Read the log: pages need it, and where nothing of it is shelved it takes a while."""
        self.preparing = True
        with self._lock:
            self._catch_up()

    @property
    def ready(self) -> bool:
        """True when the state is there without reading the whole log; never waits."""
        return self._begun and self._memory.reading is None

    @property
    def reading(self) -> tuple[int, int] | None:
        """Events read and in all, while the whole log is being read; never waits."""
        return self._memory.reading

    def append(
        self, *data: AnyData, at: datetime | None = None, day: date | None = None
    ) -> tuple[Event, ...]:
        """Make events of what happened, now by default, and keep them in one transaction."""
        with self._lock:
            events = tuple(self._event(datum, at, day) for datum in data)
            self.keep(events)
            return events

    def past_at(self, day: date, evening: time) -> datetime | None:
        """Return the instant for what is told of a day afterwards; None (now) for today."""
        now = self.now()
        return None if day >= self.today() else min(datetime.combine(day, evening, now.tzinfo), now)

    def event_of(self, data: AnyData) -> Event:
        """Make the event of what was decided now, without keeping it."""
        with self._lock:
            return self._event(data, None, None)

    def keep(self, events: tuple[Event, ...] | list[Event]) -> None:
        """Keep events made elsewhere; those already there change nothing."""
        with self._lock:
            self.store.append(events)
            self._catch_up()

    def empty(self, emptied: Sequence[Event], *said: AnyData) -> None:
        """Put emptied entries in their places, and keep what says so, in one transaction."""
        with self._lock:
            self.store.empty(emptied, [self._event(datum, None, None) for datum in said])
            self._catch_up()

    def misdating(self, at: datetime, day: date) -> Misdating | None:
        """Say what is wrong with when something is said to have happened, None where nothing is."""
        with self._lock:
            self._begin()
            return misdating(at, day, now=self.now(), log_began=self._memory.began)

    def as_misdated(self, event: Event, why: Misdating) -> Event:
        """Return the entry in which a misdated one waits for its day, arrived now."""
        data = EntryMisdated(event=event, why=why, arrived=self.now(), arrived_on=self.today())
        at = self._next_instant()
        return Event(id=waiting_id(event.id, in_log=False), at=at, day=data.arrived_on, data=data)

    def refuse(self, refused: Sequence[tuple[bytes, str]]) -> None:
        """Keep what could not become events, each with the reason, so that it is not lost."""
        if refused:
            now = self.now()
            self.store.refuse_all((now, why, raw) for raw, why in refused)

    @contextmanager
    def deciding(self) -> Iterator[State]:
        """Hold the log still while a change is checked against the state and appended."""
        with self._lock:
            yield self.state()

    def now(self) -> datetime:
        """Return the present instant in the player's zone, as far as the clock can be believed."""
        now = self.clock.now()
        if possible(now):
            return now
        with self._lock:
            self._begin()
            return believed(now, self._memory.last[0] if self._memory.last else None)

    def today(self) -> date:
        """Return the practice day; the evening's goes on until a pause of several hours."""
        with self._lock:
            self._begin()
            return day_at(self.now(), self._memory.acted, self._memory.planned)

    def days_near(self) -> DaysNear:
        """Return what decides the practice day around now, for who must tell it without us."""
        with self._lock:
            self._begin()
            calendar = self.now().date()
            near = [calendar + timedelta(days=n) for n in (-1, 0, 1)]
            acted, planned = self._memory.acted, {d: self._memory.planned(d) for d in near}
            return DaysNear(
                acted={d: acted[d] for d in near if d in acted},
                planned={d: span for d, span in planned.items() if span is not None},
            )

    def coming_day(self) -> date:
        """Return the practice day that begins after the night: tomorrow, for who is still up."""
        with self._lock:
            today = self.today()
            night = today == self.now().date() and is_night(self.now(), self._memory.acted)
            return today if night else today + timedelta(days=1)

    def new_id(self) -> str:
        """Return a fresh id."""
        return self.clock.new_id()

    def _event(self, data: AnyData, at: datetime | None, day: date | None) -> Event:
        instant = at or self._next_instant()
        if instant.tzinfo is None:
            raise ValueError("an event's instant needs a zone, or the log could not be sorted")
        return Event(id=self.new_id(), at=instant, day=day or self.today(), data=data)

    def _next_instant(self) -> datetime:
        """Return now, but after all that is known: what is decided now counts, not what was before.

        A clock that was set back would else put a change before the one that it changes. The idea
        is that of hybrid logical clocks (Kulkarni et al. 2014, Logical Physical Clocks, section 3).
        """
        self._begin()
        now = self.now()
        known = [last[0] for last in (self._memory.last,) if last is not None]
        before = max([*known, *([self._issued] if self._issued else [])], default=None)
        if before is not None and now <= before:
            now = before.astimezone(now.tzinfo) + _TICK
        self._issued = now
        return now

    def _begin(self) -> None:
        if not self._begun:
            self._memory.begin()
            self._begun = True

    def _catch_up(self) -> None:
        self._begin()
        rows = self.store.events(after=self._memory.seen)
        while batch := list(islice(rows, _BATCH)):
            self._memory.take_in(batch)
        if self._memory.unsaved >= SAVE_FROM:
            threading.Thread(target=self._memory.saving(), name="shelving").start()
