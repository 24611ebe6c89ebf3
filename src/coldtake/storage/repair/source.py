"""A copy of the log, or any older database of ours, as something that can be restored."""

import shutil
import tempfile
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from coldtake.domain.events import Event
from coldtake.errors import InputError
from coldtake.storage.database.log import SqlStore
from coldtake.storage.database.wal import wal_of
from coldtake.storage.fault_messages import of_system
from coldtake.storage.folder import sqlite_url_of

_HEAD = b"SQLite format 3\x00"


def is_database(path: Path) -> bool:
    """Say whether a file is a database of SQLite; False where it cannot be read."""
    try:
        with path.open("rb") as file:
            return file.read(len(_HEAD)) == _HEAD
    except OSError:
        return False


class DatabaseSource:
    """A database file read beside itself, so that it stays as it is. It holds no sound."""

    def __init__(self, path: Path) -> None:
        self.where = path.name
        self._folder = tempfile.TemporaryDirectory(prefix="coldtake-")
        own = Path(self._folder.name) / "copy.db"
        try:
            shutil.copyfile(path, own)
            if wal_of(path).exists():
                shutil.copyfile(wal_of(path), wal_of(own))
            self._store = SqlStore(sqlite_url_of(own))
        except OSError as fault:
            self._folder.cleanup()
            raise of_system(fault, path) from fault
        except BaseException:
            self._folder.cleanup()
            raise
        if not self._store.last_sequence():
            self.close()
            raise InputError(
                "This database holds no log.", where=path.name, remedy="Use a copy or an archive."
            )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the copy of the copy."""
        self._store.close()
        self._folder.cleanup()

    def events(self) -> Iterator[Event]:
        """Use the events in order of arrival."""
        return (event for _, event in self._store.events())

    def refused(self) -> Iterator[tuple[datetime, str, bytes]]:
        """Use what was refused."""
        return iter(self._store.refused())

    def take(self, take_id: str) -> bytes | None:  # noqa: ARG002 - the protocol's
        """There is no sound in a database."""
        return None
