"""How the database is opened: what makes SQLite safe, and what makes PostgreSQL one writer.

SQLite: write-ahead log, synchronous=FULL (a commit is on disk when it returns), a busy timeout,
and BEGIN IMMEDIATE for every writing transaction, so that a writer waits at its start and never
fails in its middle (sqlite.org/wal.html, sqlite.org/lang_transaction.html).
PostgreSQL: writers take one advisory lock, so that sequence numbers become visible in order.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from sqlite3 import Connection as SqliteConnection
from typing import Any

from sqlalchemy import Connection, Engine, Table, create_engine, event, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.pool import ConnectionPoolEntry

BUSY_TIMEOUT_S = 5.0
WRITER_LOCK = 0x636F6C64  # any fixed number; "cold" in ASCII


def open_engine(url: str | URL) -> Engine:
    """Make the engine for `sqlite:///file` or `postgresql://…`; nothing is opened yet."""
    parsed = _with_driver(make_url(url))
    if parsed.get_backend_name() != "sqlite":
        return create_engine(parsed, pool_pre_ping=True)
    engine = create_engine(parsed, connect_args={"timeout": BUSY_TIMEOUT_S})
    event.listen(engine, "connect", _set_up_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _with_driver(url: URL) -> URL:
    known = {"postgres": "postgresql+psycopg", "postgresql": "postgresql+psycopg"}
    return url.set(drivername=known.get(url.drivername, url.drivername))


def _set_up_sqlite(raw: SqliteConnection, _entry: ConnectionPoolEntry) -> None:
    raw.isolation_level = None  # the driver's own BEGIN would come too late; see `_begin_sqlite`
    raw.execute("PRAGMA journal_mode=WAL")
    raw.execute("PRAGMA synchronous=FULL")
    raw.execute("PRAGMA foreign_keys=ON")


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """Give a connection inside a writing transaction: all of the block is kept, or nothing."""
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        if connection.dialect.name == "postgresql":
            lock = text("SELECT pg_advisory_xact_lock(:key)")
            connection.execute(lock, {"key": WRITER_LOCK})
        yield connection


def insert_into(connection: Connection, table: Table) -> Any:
    """Return the database's own INSERT, which knows what to do where a row is there already.

    Only the one that is spoken is imported: the other costs a twentieth of a second at each start.
    """
    if connection.dialect.name == "postgresql":
        from sqlalchemy.dialects.postgresql import insert as into_postgresql

        return into_postgresql(table)
    from sqlalchemy.dialects.sqlite import insert as into_sqlite

    return into_sqlite(table)
