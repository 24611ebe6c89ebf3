"""Checks that the open log is still the file at its place, before a write is acknowledged.

A folder can be removed, or a database replaced (by a synchroniser, by a backup put back), while it
is open; SQLite then goes on writing into a file that has no name any more. So device and inode of
the file are compared, and of its write-ahead log; a marker file says that the folder is the same.
That is a few calls of `stat` an entry, far less than the flush to the disk. Where a file system
gives no write-ahead log, the rest is compared. A database server is asked for the name of its log.
"""

import os
import re
import sqlite3
import uuid
from collections.abc import Sequence
from contextlib import closing, suppress
from pathlib import Path

from sqlalchemy import Connection, Engine, func, select, text
from sqlalchemy.exc import DBAPIError

from coldtake.durable import flush_file, flush_folder, private_file
from coldtake.errors import StoreError
from coldtake.storage.database.engine import writing
from coldtake.storage.database.tables import IDENTITY, LOG
from coldtake.storage.database.wal import wal_of

MARKER = "coldtake.id"
_ABOUT = "The name of this data folder. While this file is missing, Coldtake saves nothing."
_NAME = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
REMEDY = (
    "Nothing is saved until that is mended. Stop Coldtake, put the folder back or restore a "
    "backup, and start it again. A session page keeps what it could not send, and sends it then."
)
_SERVER = "The database was replaced while Coldtake was running."
_Seen = tuple[int, ...]


class DatabasePlace:
    """Where a log lies.

    database : the file; None for a database server
    marker : the file that says that this is its folder; None where there is no folder
    """

    def __init__(self, database: Path | None = None, marker: Path | None = None) -> None:
        self._database = database
        self._marker = marker
        self._file: _Seen | None = None
        self._wal: _Seen | None = None
        self._has_wal = False
        self._marked: _Seen | None = None
        self._engine: Engine | None = None
        self._newest = 0
        self._due = False
        self.name = ""

    def settle(self, engine: Engine) -> None:
        """Learn the name of the log that was opened, or give it one, and which file it is."""
        self._engine = engine
        with engine.connect() as connection:
            self.name = connection.execute(select(IDENTITY.c.id)).scalar() or ""
            if self._database is not None:
                mode = connection.execute(text("PRAGMA journal_mode")).scalar()
                self._has_wal = mode == "wal"
        if not self.name:
            self.name = self._given_name(engine)
        self._file = _seen(self._database)

    @property
    def told(self) -> str:
        """What the marker says that the folder's log is called, nothing where there is none."""
        if self._marker is not None:
            with suppress(FileNotFoundError):
                found = _NAME.match(self._marker.read_text(encoding="utf-8", errors="replace"))
                return found[0] if found else ""
        return ""

    def mark(self) -> None:
        """Write the marker unless it is there; from now on it is asked for. Raises OSError."""
        if self._marker is None:
            return
        if self.told != self.name:
            part = self._marker.with_suffix(".part")
            part.unlink(missing_ok=True)
            private_file(part).write_text(f"{self.name}\n{_ABOUT}\n", encoding="utf-8")
            flush_file(part)
            part.replace(self._marker)
            flush_folder(self._marker.parent)
        self._marked = self._marker_now()

    def mark_later(self) -> None:
        """Write the marker with the first entry: until then the folder has no log."""
        if self._marker is not None:
            self._marker.unlink(missing_ok=True)
            self._due = True

    def amiss(self) -> str:
        """Say what is not at its place any more; empty when all is."""
        if self._marked and self._marker_is_another():
            return "The data folder was removed or replaced while Coldtake was running."
        if self._file and _seen(self._database) != self._file:
            return "The log (coldtake.db) was removed or replaced while Coldtake was running."
        return ""

    def confirm(self, connection: Connection | None = None, *, written: bool = False) -> None:
        """Raise StoreError where what is open is not what lies at its place any more.

        connection : a transaction of a database server, which is asked for its name
        written : something was committed; its write-ahead log is compared, too
        """
        amiss = self.amiss()
        if not amiss and written and self._has_wal and self._wal_is_another():
            amiss = "The latest part of the log (coldtake.db-wal) was removed or replaced."
        if not amiss and connection is not None and self._database is None:
            amiss = "" if self._named(connection) == self.name else _SERVER
        if not amiss and written and self._due:
            self.mark()
            self._due = False
        if amiss:
            raise StoreError(amiss, where=str(self._database or ""), remedy=REMEDY)

    def follows(self, new: Sequence[int]) -> None:
        """Raise StoreError where new entries got numbers that were given already."""
        if new and min(new) <= self._newest:
            what = "The log was put back to an earlier state while Coldtake was running."
            raise StoreError(what, where=str(self._database or ""), remedy=REMEDY)
        self._newest = max((self._newest, *new))

    def _given_name(self, engine: Engine) -> str:
        """Give the log the name that its folder has, else a new one."""
        with writing(engine) as connection:
            known = connection.execute(select(IDENTITY.c.id)).scalar()
            if known:  # another process was first
                return str(known)
            name = self.told or str(uuid.uuid4())
            connection.execute(IDENTITY.insert().values(id=name))
            return name

    def _marker_is_another(self) -> bool:
        """Compare by what it says where it was only written anew, as a synchroniser does."""
        now = self._marker_now()
        if now == self._marked:
            return False
        if now is None or self.told != self.name:
            return True
        self._marked = now
        return False

    def _marker_now(self) -> _Seen | None:
        return _seen(self._marker, written=True)

    def _wal_is_another(self) -> bool:
        """Say whether what was written lies in a file that nobody finds any more.

        It is made anew when nobody had the log open for a moment; then a fresh look finds all.
        """
        assert self._database is not None
        now = _seen(wal_of(self._database))
        if now is not None and now == self._wal:
            return False
        if now is None or not self._found_afresh():
            return True
        self._wal = now
        return False

    def _found_afresh(self) -> bool:
        """Say whether somebody who opens the log now finds as many entries as are here."""
        assert self._database is not None
        assert self._engine is not None
        newest = select(func.max(LOG.c.sequence))
        uri = f"{self._database.absolute().as_uri()}?mode=rw"
        with suppress(sqlite3.Error), self._engine.connect() as own:
            here = own.execute(newest).scalar() or 0
            with closing(sqlite3.connect(uri, uri=True)) as fresh:
                there = fresh.execute("SELECT max(sequence) FROM log").fetchone()[0] or 0
            return bool(there >= here)
        return False

    def _named(self, connection: Connection) -> str:
        try:
            return str(connection.execute(select(IDENTITY.c.id)).scalar())
        except DBAPIError as fault:
            raise StoreError(_SERVER, remedy=REMEDY) from fault


def _seen(path: Path | None, *, written: bool = False) -> _Seen | None:
    """Return device and inode (and when it was written, in ns), None where there is nothing."""
    try:
        found = os.stat(path) if path is not None else None
    except OSError:
        return None
    if found is None:
        return None
    return (found.st_dev, found.st_ino, *((found.st_mtime_ns,) if written else ()))
