"""The log in a database: SQLite beside the takes by default, PostgreSQL for a studio.

Guarantees are those of `ports.Store`. One process-wide lock makes this process one writer; the
database's own lock makes several processes one writer.
"""

import hashlib
import threading
from collections.abc import Iterator, Sequence
from contextlib import suppress
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Insert, func, make_url, select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.engine import URL
from sqlalchemy.exc import ArgumentError

from coldtake.domain.events import Event, from_json, to_json
from coldtake.errors import BusyError, StoreError
from coldtake.storage.engine import open_engine, writing
from coldtake.storage.faults import spoken
from coldtake.storage.schema import prepare
from coldtake.storage.shelf import SqlShelf
from coldtake.storage.tables import LOG, QUARANTINE

DATABASE = "COLDTAKE_DATABASE"  # the environment may name it, so that no password is typed
_ROWS_AT_ONCE = 500  # below SQLite's limit of variables in a statement; bounds memory when reading


class SqlStore:
    """`ports.Store` over SQLAlchemy. Opening migrates the database to its present shape."""

    def __init__(self, url: str | URL) -> None:
        """Open `sqlite:////path/file.db` or `postgresql://…`. Raises StoreError or BusyError."""
        self._where = _shown(url)
        self._writer = threading.Lock()
        with spoken(self._where):
            self._engine = open_engine(url)
            prepare(self._engine, self._where)
        self._shelf = SqlShelf(self._engine)

    def append(self, events: Sequence[Event]) -> int:
        """Append in one transaction; ids already there are left as they were and not counted."""
        if not events:
            return 0
        rows = [_row(event) for event in events]
        with spoken(self._where), self._writer, writing(self._engine) as connection:
            return sum(
                _insert(connection, rows[start : start + _ROWS_AT_ONCE])
                for start in range(0, len(rows), _ROWS_AT_ONCE)
            )

    def events(self, after: int = 0) -> Iterator[tuple[int, Event]]:
        """Give (sequence number, event) in order of arrival; no transaction is held open."""
        while True:
            rows = self._rows(after)
            yield from ((sequence, self._read(sequence, body)) for sequence, body in rows)
            if len(rows) < _ROWS_AT_ONCE:
                return
            after = rows[-1][0]

    def last_sequence(self) -> int:
        """Return the sequence number of the newest event, 0 for an empty log."""
        with spoken(self._where), self._engine.connect() as connection:
            return connection.execute(select(func.max(LOG.c.sequence))).scalar() or 0

    def event(self, event_id: str) -> Event | None:
        """Return one event by its id, None where the log has no such event."""
        query = select(LOG.c.sequence, LOG.c.body).where(LOG.c.id == event_id)
        with spoken(self._where), self._engine.connect() as connection:
            row = connection.execute(query).first()
        return None if row is None else self._read(int(row[0]), str(row[1]))

    def put(self, name: str, maker: str, upto: int, body: bytes) -> None:
        """Keep what was computed from the log (`ports.Shelf`)."""
        with suppress(StoreError, BusyError), spoken(self._where), self._writer:
            self._shelf.put(name, maker, upto, body)

    def fetch(self, name: str, maker: str) -> tuple[int, bytes] | None:
        """Return (sequence number, body) of what was computed, None where it is in doubt."""
        with suppress(StoreError, BusyError), spoken(self._where):
            return self._shelf.fetch(name, maker)
        return None

    def refuse(self, raw: bytes, why: str, at: datetime) -> None:
        """Keep what could not become an event, once per content."""
        row = {
            "sha256": hashlib.sha256(raw).hexdigest(),
            "at": at.isoformat(),
            "why": why,
            "raw": raw,
        }
        with spoken(self._where), self._writer, writing(self._engine) as connection:
            dialect = _dialect(connection)
            into = dialect.insert(QUARANTINE).values(row)
            connection.execute(into.on_conflict_do_nothing(index_elements=["sha256"]))

    def refused(self) -> Sequence[tuple[datetime, str, bytes]]:
        """Return what was refused: (when, why, the bytes as they came), oldest first."""
        columns = (QUARANTINE.c.at, QUARANTINE.c.why, QUARANTINE.c.raw)
        query = select(*columns).order_by(QUARANTINE.c.sequence)
        with spoken(self._where), self._engine.connect() as connection:
            rows = connection.execute(query).all()
        return [(datetime.fromisoformat(at), why, bytes(raw)) for at, why, raw in rows]

    def close(self) -> None:
        """Let go of files and connections."""
        self._engine.dispose()

    def _rows(self, after: int) -> list[tuple[int, str]]:
        query = (
            select(LOG.c.sequence, LOG.c.body)
            .where(LOG.c.sequence > after)
            .order_by(LOG.c.sequence)
            .limit(_ROWS_AT_ONCE)
        )
        with spoken(self._where), self._engine.connect() as connection:
            return [(int(sequence), str(body)) for sequence, body in connection.execute(query)]

    def _read(self, sequence: int, body: str) -> Event:
        try:
            return from_json(body)
        except ValueError as fault:
            raise StoreError(
                f"Entry {sequence} of the log cannot be read: {fault}.",
                where=self._where,
                remedy="Update Coldtake, or put the last copy of the log in its place.",
            ) from fault


def _shown(url: str | URL) -> str:
    """Return how to name a database to the player: without its password."""
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
    return parsed.render_as_string(hide_password=True)


def _row(event: Event) -> dict[str, Any]:
    return {
        "id": event.id,
        "kind": type(event.data).__struct_config__.tag,
        "at": event.at.isoformat(),
        "day": event.day.isoformat(),
        "body": to_json(event).decode(),
    }


def _dialect(connection: Connection) -> Any:
    return postgresql if connection.dialect.name == "postgresql" else sqlite


def _insert(connection: Connection, rows: list[dict[str, Any]]) -> int:
    into: Insert = _dialect(connection).insert(LOG).values(rows)
    new = into.on_conflict_do_nothing(index_elements=["id"]).returning(LOG.c.sequence)  # type: ignore[attr-defined]
    return len(connection.execute(new).all())
