"""Entries emptied in their places, and nothing left of what they held in the database's files.

An UPDATE leaves the old bytes in free pages, in the unused part of pages and in the write-ahead
log. VACUUM builds the file anew from what is there (sqlite.org/lang_vacuum.html), and a checkpoint
that truncates empties the write-ahead log (sqlite.org/pragma.html#pragma_wal_checkpoint). For
PostgreSQL VACUUM FULL writes the table anew; its own write-ahead log and backups are its owner's.
"""

import sqlite3
from collections.abc import Collection, Iterator, Sequence
from pathlib import Path
from typing import Any

import msgspec
from sqlalchemy import Connection, Engine, bindparam, delete, select

from coldtake.domain.events import Event, from_json
from coldtake.domain.history.deleted_takes import HOLDING, emptied, to_empty
from coldtake.errors import StoreError
from coldtake.storage.database.checksums import digest_of, row_of
from coldtake.storage.database.tables import COMPUTED, LOG

_AT_ONCE = 500  # rows


class _Inner(msgspec.Struct):
    take_id: str = ""


class _Waiting(msgspec.Struct):
    data: _Inner = msgspec.field(default_factory=_Inner)


class _Told(msgspec.Struct):
    take_id: str = ""
    event: _Waiting = msgspec.field(default_factory=_Waiting)


class _Entry(msgspec.Struct):
    """As much of an entry as tells of which take it speaks; the rest is not read."""

    data: _Told


_DECODER = msgspec.json.Decoder(_Entry)


def numbers_of_takes(connection: Connection, take_ids: Collection[str]) -> list[int]:
    """Return the numbers of the entries that speak of some takes (ids in small letters)."""
    query = select(LOG.c.sequence, LOG.c.body).where(LOG.c.kind.in_(HOLDING))
    rows = connection.execution_options(yield_per=_AT_ONCE).execute(query)
    return sorted(sequence for sequence, body in rows if _take_of(body) in take_ids)


def put_emptied(connection: Connection, events: Sequence[Event]) -> None:
    """Put emptied entries in the places of those of their ids; what was computed goes."""
    if events:
        new: dict[str, Any] = {
            "body": bindparam("body_now"),
            "digest": bindparam("digest_now"),
        }
        rows = [
            {"of": row["id"], "body_now": row["body"], "digest_now": row["digest"]}
            for row in map(row_of, events)
        ]
        connection.execute(LOG.update().where(LOG.c.id == bindparam("of")).values(new), rows)
    connection.execute(delete(COMPUTED))


def compact(engine: Engine) -> bool:
    """Write the database anew, so that only what it holds is in its files; False where one reads.

    Raises StoreError.
    """
    raw = engine.raw_connection()
    dbapi = engine.dialect.dbapi
    assert dbapi is not None
    try:
        if engine.dialect.name == "sqlite":
            return _compact_file(raw.driver_connection)
        return _compact_tables(raw.driver_connection)
    except dbapi.Error as fault:
        if "locked" in str(fault):
            return False
        raise StoreError(
            "The recording is deleted, but traces of it may still be in the database file.",
            remedy="Free some space. Coldtake removes them within an hour, or at its next start.",
        ) from fault
    finally:
        raw.close()


def _compact_file(driver: Any) -> bool:
    driver.execute("VACUUM")
    busy = driver.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
    return not busy


def _compact_tables(driver: Any) -> bool:
    driver.autocommit = True  # a VACUUM stands in no transaction
    try:
        for table in (LOG, COMPUTED):
            driver.execute(f"VACUUM FULL {table.name}")
    finally:
        driver.autocommit = False
    return True


def empty_in_file(database: Path, take_ids: Collection[str]) -> int:
    """Empty the entries of some takes in a database file that nobody uses; return how many.

    Raises sqlite3.Error, StoreError where an entry that speaks of one cannot be read.
    """
    connection = sqlite3.connect(database, isolation_level=None)
    try:
        connection.execute("PRAGMA journal_mode=MEMORY")
        rows = list(_emptied_rows(connection, take_ids))
        connection.execute("BEGIN IMMEDIATE")
        has_digest = "digest" in {r[1] for r in connection.execute("PRAGMA table_info(log)")}
        for sequence, row in rows:
            connection.execute(
                "UPDATE log SET body = ? WHERE sequence = ?", (row["body"], sequence)
            )
            if has_digest:
                told = (digest_of(*(row[n] for n in row if n != "digest")), sequence)
                connection.execute("UPDATE log SET digest = ? WHERE sequence = ?", told)
        if _has_table(connection, "computed"):
            connection.execute("DELETE FROM computed")
        connection.execute("COMMIT")
        connection.execute("VACUUM")
        connection.execute("PRAGMA journal_mode=DELETE")
    finally:
        connection.close()
    return len(rows)


def holds_takes(connection: sqlite3.Connection, take_ids: Collection[str]) -> bool:
    """Say whether a database still holds something of some takes. Raises as `empty_in_file`."""
    if next(_emptied_rows(connection, take_ids), None) is not None:
        return True
    # What was computed from the log once may speak of any take.
    return _has_table(connection, "computed") and bool(
        connection.execute("SELECT count(*) FROM computed").fetchone()[0]
    )


def _emptied_rows(
    connection: sqlite3.Connection, take_ids: Collection[str]
) -> Iterator[tuple[int, dict[str, str]]]:
    marks = ", ".join("?" * len(HOLDING))
    query = f"SELECT sequence, body FROM log WHERE kind IN ({marks})"
    for sequence, body in connection.execute(query, HOLDING):
        if _take_of(body) not in take_ids:
            continue
        try:
            event = from_json(body)
        except ValueError as fault:
            raise StoreError(f"Entry {sequence} cannot be read: {fault}.") from fault
        if to_empty(event, take_ids):
            yield sequence, row_of(emptied(event))


def _has_table(connection: sqlite3.Connection, name: str) -> bool:
    query = "SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = ?"
    return connection.execute(query, (name,)).fetchone() is not None


def _take_of(body: str) -> str:
    try:
        told = _DECODER.decode(body).data
    except msgspec.MsgspecError:
        return ""  # damaged on the disk: reading it mends it
    return (told.take_id or told.event.data.take_id).lower()
