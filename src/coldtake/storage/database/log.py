"""The log in a database: SQLite beside the takes by default, PostgreSQL for a studio.

Guarantees are those of `ports.Store`. One process-wide lock makes this process one writer; the
database's own lock makes several processes one writer.
"""

import hashlib
import threading
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from itertools import islice
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Insert, Select, func, make_url, or_, select
from sqlalchemy.engine import URL
from sqlalchemy.exc import ArgumentError, OperationalError

from coldtake.domain.events import Event, from_json
from coldtake.domain.history.deleted_takes import to_empty
from coldtake.domain.history.projection import order_key
from coldtake.domain.maintenance import Repair
from coldtake.durable import private_file
from coldtake.errors import BusyError, StoreError
from coldtake.storage.database import erasing
from coldtake.storage.database.checksums import COLUMNS, digest_of, row_of
from coldtake.storage.database.engine import insert_into, open_engine, writing
from coldtake.storage.database.entry_repair import EntryRepair, FromCopy
from coldtake.storage.database.place import REMEDY, DatabasePlace
from coldtake.storage.database.schema import prepare
from coldtake.storage.database.shelf import SqlShelf
from coldtake.storage.database.tables import LOG, QUARANTINE
from coldtake.storage.fault_messages import spoken

_ENTRY = (LOG.c.sequence, *(LOG.c[name] for name in COLUMNS), LOG.c.digest)
DATABASE = "COLDTAKE_DATABASE"  # the environment may name it, so that no password is typed
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_TWO_DAYS = timedelta(days=2)
_MICROSECOND = timedelta(microseconds=1)
_ROWS_AT_ONCE = 500  # below SQLite's limit of variables in a statement; bounds memory when reading


class SqlStore:
    """`ports.Store` over SQLAlchemy. Opening migrates the database to its present shape."""

    def __init__(
        self,
        url: str | URL,
        *,
        from_copy: FromCopy | None = None,
        note: Callable[..., Repair] | None = None,
        marker: Path | None = None,
    ) -> None:
        """Open `sqlite:////path/file.db` or `postgresql://…`. Raises StoreError or BusyError.

        from_copy, note : where an entry damaged on the disk is looked up, and told (`EntryRepair`)
        marker : the file by which the folder of this log is known (`Place`)
        """
        self._where = _shown(url)
        self._writer = threading.Lock()
        database = _file_of(url)
        self.place = DatabasePlace(database, marker)
        with spoken(self._where):
            if database is not None:
                private_file(database)  # SQLite gives its other files the same rights
            self._engine = open_engine(url)
            try:
                prepare(self._engine, self._where)
                self.place.settle(self._engine)
            except BaseException:
                self._engine.dispose()  # a connection left open would hold the file
                raise
        self._shelf = SqlShelf(self._engine)
        self._mender = EntryRepair(self._engine, from_copy, note)

    def append(self, events: Iterable[Event]) -> int:
        """Append in one transaction; ids already there are left as they were and not counted.

        Events are taken as they come: no memory holds all of them. What iterating raises goes
        through, and nothing is kept.
        """
        if not events:
            self.confirm()
            return 0
        rows = (row_of(event) for event in events)
        with spoken(self._where), self._writer:
            new: list[int] = []
            with self._acknowledging() as connection:
                while batch := list(islice(rows, _ROWS_AT_ONCE)):
                    new += _insert(connection, batch)
                self.place.follows(new)
            return len(new)

    def events(self, after: int = 0) -> Iterator[tuple[int, Event]]:
        """Give (sequence number, event) in order of arrival; no transaction is held open.

        An entry that does not fit its checksum is put right on the way, or set aside.
        """
        while True:
            rows = self._rows(after)
            for sequence, body in rows:
                if body is not None:
                    yield sequence, self._read(sequence, body)
            if len(rows) < _ROWS_AT_ONCE:
                return
            after = rows[-1][0]

    def history(self) -> Iterator[tuple[int, Event]]:
        """Give (sequence number, event) in the order in which things happened.

        The order is found from instants and ids alone, then the entries are read in portions.
        """
        try:
            ordered = self._ordered()
        except StoreError:  # a column is no text any more; reading the entries mends that
            yield from sorted(self.events(), key=lambda told: order_key(told[1]))
            return
        yield from self._these(ordered)

    def _these(self, numbers: Sequence[int]) -> Iterator[tuple[int, Event]]:
        """Give (sequence number, event) of entries by their numbers, in portions."""
        for start in range(0, len(numbers), _ROWS_AT_ONCE):
            wanted = numbers[start : start + _ROWS_AT_ONCE]
            bodies = dict(self._entries(select(*_ENTRY).where(LOG.c.sequence.in_(wanted))))
            for sequence in wanted:
                body = bodies.get(sequence)
                if body is not None:
                    yield sequence, self._read(sequence, body)

    def outside(self, first: datetime, last: datetime) -> list[tuple[int, Event]]:
        """Return (sequence number, event) of those before `first` or after `last`, by arrival.

        The database compares dates as they are written, wider than zones reach.
        """
        low, high = ((at + n * _TWO_DAYS).date().isoformat() for at, n in ((first, 1), (last, -1)))
        beyond = or_(LOG.c.at < low, LOG.c.at > high, LOG.c.day < low, LOG.c.day > high)
        query = select(LOG.c.sequence).where(beyond).order_by(LOG.c.sequence)
        with spoken(self._where), self._engine.connect() as connection:
            numbers = list(connection.execute(query).scalars())
        days = first.date(), last.date()
        return [
            one
            for one in self._these(numbers)
            if not (first <= one[1].at <= last and days[0] <= one[1].day <= days[1])
        ]

    def last_sequence(self) -> int:
        """Return the sequence number of the newest event, 0 for an empty log."""
        with spoken(self._where), self._engine.connect() as connection:
            return connection.execute(select(func.max(LOG.c.sequence))).scalar() or 0

    def event(self, event_id: str) -> Event | None:
        """Return one event by its id, None where the log has no such event."""
        query = select(LOG.c.sequence).where(LOG.c.id == event_id)
        with spoken(self._where), self._engine.connect() as connection:
            sequence = connection.execute(query).scalar()
        if sequence is None:
            return None
        [(_, body)] = self._rows(sequence - 1, 1)
        return None if body is None else self._read(sequence, body)

    def entries_of_takes(self, take_ids: Collection[str]) -> Iterator[Event]:
        """Give the entries that still hold something of some takes (ids in small letters)."""
        with spoken(self._where), self._engine.connect() as connection:
            numbers = erasing.numbers_of_takes(connection, take_ids)
        for _, event in self._these(numbers):
            if to_empty(event, take_ids):
                yield event

    def empty(self, emptied: Sequence[Event], said: Sequence[Event]) -> None:
        """Put emptied entries in their places and append what says so, in one transaction."""
        with spoken(self._where), self._writer, self._acknowledging() as connection:
            erasing.put_emptied(connection, emptied)
            new: list[int] = []
            for start in range(0, len(said), _ROWS_AT_ONCE):
                batch = [row_of(event) for event in said[start : start + _ROWS_AT_ONCE]]
                new += _insert(connection, batch)
            self.place.follows(new)

    def compact(self) -> bool:
        """Write the database anew, so that its files hold nothing else; False where one reads."""
        with spoken(self._where), self._writer:
            self.place.confirm()
            return erasing.compact(self._engine)

    def put(self, name: str, maker: str, upto: int, body: bytes) -> None:
        """Keep what was computed from the log (`ports.DerivedCache`)."""
        with suppress(StoreError, BusyError), spoken(self._where), self._writer:
            self._shelf.put(name, maker, upto, body)

    def fetch(self, name: str, maker: str) -> tuple[int, bytes] | None:
        """Return (sequence number, body) of what was computed, None where it is in doubt."""
        with suppress(StoreError, BusyError), spoken(self._where):
            return self._shelf.fetch(name, maker)
        return None

    def refuse(self, raw: bytes, why: str, at: datetime) -> None:
        """Keep what could not become an event, once per content."""
        self.refuse_all([(at, why, raw)])

    def refuse_all(self, refused: Iterable[tuple[datetime, str, bytes]]) -> None:
        """Keep many, each as (when, why, the bytes as they came), in one transaction."""
        rows = (
            {
                "sha256": hashlib.sha256(raw).hexdigest(),
                "at": at.isoformat(),
                "why": why,
                "raw": raw,
            }
            for at, why, raw in refused
        )
        with spoken(self._where), self._writer, self._acknowledging() as connection:
            into = insert_into(connection, QUARANTINE)
            while batch := list(islice(rows, _ROWS_AT_ONCE)):
                once = into.values(batch).on_conflict_do_nothing(index_elements=["sha256"])
                connection.execute(once)

    def refused(self, because: str = "") -> Sequence[tuple[datetime, str, bytes]]:
        """Return what was refused: (when, why, the bytes as they came), oldest first."""
        columns = (QUARANTINE.c.at, QUARANTINE.c.why, QUARANTINE.c.raw)
        told = QUARANTINE.c.why.contains(because, autoescape=True)
        query = select(*columns).where(told).order_by(QUARANTINE.c.sequence)
        with spoken(self._where), self._engine.connect() as connection:
            rows = connection.execute(query).all()
        return [(datetime.fromisoformat(at), why, bytes(raw)) for at, why, raw in rows]

    def confirm(self) -> None:
        """Raise StoreError where what is open is not the log at its place any more."""
        self.place.confirm()

    def amiss(self) -> str:
        """Say what is not at its place any more, and what to do; empty when all is."""
        amiss = self.place.amiss()
        return f"{amiss} {REMEDY}" if amiss else ""

    @contextmanager
    def _acknowledging(self) -> Iterator[Connection]:
        """Write in one transaction, into the log that lies at its place before and after it."""
        self.place.confirm()
        with writing(self._engine) as connection:
            self.place.confirm(connection)
            yield connection
        self.place.confirm(written=True)

    def close(self) -> None:
        """Let go of files and connections."""
        self._engine.dispose()

    def _rows(self, after: int, most: int = _ROWS_AT_ONCE) -> list[tuple[int, str | None]]:
        """Read entries on from a number; the body is None where an entry had to be set aside."""
        query = select(*_ENTRY).where(LOG.c.sequence > after)
        return self._entries(query.order_by(LOG.c.sequence).limit(most))

    def _ordered(self) -> list[int]:
        """Return all sequence numbers in the order of what happened."""
        query = select(LOG.c.sequence, LOG.c.at, LOG.c.id)
        with spoken(self._where), self._engine.connect() as connection:
            keys = [(_instant(at), id_, number) for number, at, id_ in connection.execute(query)]
        keys.sort()
        return [number for _, _, number in keys]

    def _entries(self, query: Select[Any]) -> list[tuple[int, str | None]]:
        with spoken(self._where):
            with self._engine.connect() as connection:
                rows = _fetched(connection, query)
            return [(row[0], row[5] if _fits(row) else self._mended(row[0])) for row in rows]

    def _mended(self, sequence: int) -> str | None:
        with self._writer:
            return self._mender.mend(sequence)

    def _read(self, sequence: int, body: str) -> Event:
        try:
            return from_json(body)
        except ValueError as fault:
            raise StoreError(
                f"Entry {sequence} of the log cannot be read: {fault}.",
                where=self._where,
                remedy="Update Coldtake, or put the last copy of the log in its place.",
            ) from fault


def _sum(raw: bytes) -> str:
    return hashlib.sha256(raw).hexdigest()


def _shown(url: str | URL) -> str:
    """Return how to name a database to a person: a server without its address, user and name.

    What a page or a terminal shows is read by others too; whoever runs the server has them in
    COLDTAKE_DATABASE.
    """
    try:
        parsed = make_url(url)
    except ArgumentError as fault:
        raise StoreError(
            "This is not the address of a database.",
            where=DATABASE,
            remedy="Write it as postgresql://user@host/name.",
        ) from fault
    if parsed.get_backend_name() == "sqlite":
        return parsed.database or "memory"
    return f"the database named in {DATABASE}"


def _file_of(url: str | URL) -> Path | None:
    """Return the file of a log in SQLite, None for a database server."""
    parsed = make_url(url)
    lies = parsed.get_backend_name() == "sqlite" and parsed.database
    return Path(parsed.database) if lies and parsed.database else None


def _fetched(connection: Connection, query: Select[Any]) -> Sequence[Any]:
    """Fetch entries; where one of them is no text any more, only their numbers."""
    try:
        return connection.execute(query).all()
    except OperationalError as fault:
        if "decode" not in str(fault).lower():
            raise
    return connection.execute(query.with_only_columns(LOG.c.sequence)).all()


def _fits(row: Sequence[Any]) -> bool:
    """Say whether an entry is what was written: (sequence, the columns, checksum)."""
    try:
        return bool(digest_of(*row[1:6]) == row[6])
    except (IndexError, TypeError):
        return False


def _instant(at: str) -> int:
    """Return microseconds, exact; 0 where it cannot be read (then the entry is mended)."""
    try:
        instant = datetime.fromisoformat(at)
    except (TypeError, ValueError):
        return 0
    return round((instant - _EPOCH) / _MICROSECOND)


def _insert(connection: Connection, rows: list[dict[str, Any]]) -> Sequence[int]:
    """Return the numbers of those that were new."""
    into: Insert = insert_into(connection, LOG).values(rows)
    new = into.on_conflict_do_nothing(index_elements=["id"]).returning(LOG.c.sequence)  # type: ignore[attr-defined]
    return connection.execute(new).scalars().all()
