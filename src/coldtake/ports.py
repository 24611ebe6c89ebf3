"""What the house needs from outside, as protocols; each implementation passes one suite."""

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import Protocol, runtime_checkable

from coldtake.domain.events import Event
from coldtake.domain.maintenance import Checkup, Copy, Repair


class Store(Protocol):
    """The append-only log.

    Guarantees: `append` is one transaction, all or nothing; an id already there is left as it was
    (and not counted); after `append` returns, the events survive a crash of the process. Neither
    `append` nor `refuse` returns when the log that is open is no longer the one at its place.
    """

    def append(self, events: Iterable[Event]) -> int:
        """Append events, return how many were new. Raises StoreError or BusyError.

        What iterating raises goes through, and nothing is kept.
        """
        ...

    def refuse(self, raw: bytes, why: str, at: datetime) -> None:
        """Keep something that could not become an event, so that it is not lost. Once per `raw`."""
        ...

    def refuse_all(self, refused: Iterable[tuple[datetime, str, bytes]]) -> None:
        """Keep many, each as (when, why, the bytes as they came), in one transaction."""
        ...

    def refused(self, because: str = "") -> Sequence[tuple[datetime, str, bytes]]:
        """Return what was refused: (when, why, the bytes as they came), oldest first.

        because : words that stand in the reason
        """
        ...

    def events(self, after: int = 0) -> Iterator[tuple[int, Event]]:
        """Give (sequence number, event) in order of arrival, from after a sequence number."""
        ...

    def history(self) -> Iterator[tuple[int, Event]]:
        """Give the same as `events()`, in the order in which things happened: by instant, id."""
        ...

    def outside(self, first: datetime, last: datetime) -> Sequence[tuple[int, Event]]:
        """Return (sequence number, event) of those before `first` or after `last`, by arrival.

        Compared are the instants, and the days with the dates of both.
        """
        ...

    def entries_of_takes(self, take_ids: Collection[str]) -> Iterator[Event]:
        """Give the entries that still hold something of some takes.

        take_ids : in small letters; see `domain.history.deleted_takes`
        """
        ...

    def empty(self, emptied: Sequence[Event], said: Sequence[Event]) -> None:
        """Put emptied entries in the places of those of their ids, and append what says so.

        One transaction; what was computed from the log goes with it. What the entries held is
        overwritten by `compact`, not before. Raises StoreError or BusyError.
        """
        ...

    def compact(self) -> bool:
        """Leave nothing in the database's own files of what the log does not hold any more.

        False where somebody else reads it just now: then a part may still be there. Raises
        StoreError or BusyError.
        """
        ...

    def last_sequence(self) -> int:
        """Return the sequence number of the newest event, 0 for an empty log."""
        ...

    def event(self, event_id: str) -> Event | None:
        """Return one event by its id, None where the log has no such event."""
        ...

    def amiss(self) -> str:
        """Say what is not at its place any more (folder or log), and what to do; else ""."""
        ...

    def confirm(self) -> None:
        """Raise StoreError where something is: what is acknowledged then would be lost."""
        ...

    def close(self) -> None:
        """Let go of files and connections."""
        ...


@runtime_checkable
class DerivedCache(Protocol):
    """A place beside the log for what was computed from it and can be computed again.

    Guarantees: `fetch` gives exactly what was put, for the log as it is; or None. What was made by
    another maker, has been damaged, or belongs to a log whose beginning reads differently is None.
    """

    def put(self, name: str, maker: str, upto: int, body: bytes) -> None:
        """Keep what was computed from the log up to a sequence number, in place of the last.

        maker : names the code that can read `body`, at most 64 characters
        Never raises for a full disk or a busy database: then the old one or none is there.
        """
        ...

    def fetch(self, name: str, maker: str) -> tuple[int, bytes] | None:
        """Return (sequence number, body) of what was put, None where it cannot be trusted."""
        ...


class TakeFiles(Protocol):
    """Sound of the takes, one FLAC file each; and files of pages as they came (PDF, PNG, JPEG).

    Guarantees: `keep` returns only when the file is on disk under its final name; a crash leaves
    either the whole file or none.
    """

    def keep(self, take_id: str, flac: bytes) -> str:
        """Keep a take's sound, return its SHA-256 in hex. Keeping the same bytes twice is fine."""
        ...

    def path(self, take_id: str) -> Path:
        """Return where the sound lies. Raises NotFoundError when there is none."""
        ...

    def damaged(self, take_id: str, sha256: str) -> bool:
        """Say whether the file is missing or differs from its checksum."""
        ...

    def drop(self, take_id: str) -> None:
        """Remove a sound that the log does not speak of."""
        ...


class Maintenance(Protocol):
    """Looks after the data folder: automatic copies, check-ups, repairs."""

    def copies(self) -> Sequence[Copy]:
        """Return the automatic copies, newest first."""
        ...

    def repairs(self) -> Sequence[Repair]:
        """Return what was repaired, oldest first."""
        ...

    def fresh(self) -> Sequence[Repair]:
        """Return what was repaired since the folder was opened, the opening included."""
        ...

    def watch(self, hourly: Callable[[], object] | None = None) -> None:
        """Begin to look after it in the background, until `close`; `hourly` is called, too."""
        ...

    def last(self) -> Checkup | None:
        """Return what the last check found, None when there was none yet."""
        ...

    def copies_to(self) -> Path | None:
        """Return the folder where copies go, None where somebody else makes them."""
        ...

    def choose_folder(self, folder: Path | None) -> None:
        """Let copies go to another folder; None: into the data folder again. Raises InputError."""
        ...

    def copy(self) -> Copy | None:
        """Make today's copy; None when nothing changed since the last. Raises StoreError."""
        ...

    def forget(self, take_ids: Collection[str]) -> None:
        """Note on the disk that nothing of these takes shall be left; `forget_noted` does it."""
        ...

    def forget_noted(self) -> Sequence[str]:
        """Remove what is noted from files, database and copies; the log must not hold it any more.

        Returns what could not be reached: it is tried again, hourly. Raises StoreError, BusyError.
        """
        ...

    def check(self, progress: "Progress | None" = None) -> Checkup:
        """Read every entry and compare every take with its checksum; damage is put right."""
        ...

    def close(self) -> None:
        """Stop looking after it."""
        ...


class Clock(Protocol):
    """The time of day, in the player's own zone."""

    def now(self) -> datetime:
        """Return the present instant, aware of its zone."""
        ...

    def new_id(self) -> str:
        """Return a fresh UUIDv7."""
        ...


class Cancelled(Exception):  # noqa: N818 - it is no fault
    """Whoever watches long work asked it to stop; nothing half done was left behind."""


class Progress(Protocol):
    """Somebody who watches long work."""

    def step(self, done: int, total: int, words: str) -> bool:
        """Report progress; False asks the work to stop."""
        ...
