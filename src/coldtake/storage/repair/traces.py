"""Nothing left of deleted takes: in the folder of takes, the database's free pages, the copies.

What is to go is noted on the disk first, so that a crash, a full disk or a folder of copies that is
not there only puts it off.
"""

import contextlib
import shutil
import sqlite3
from collections.abc import Callable, Collection
from pathlib import Path

import msgspec

from coldtake.domain.maintenance import Copy
from coldtake.durable import flush_folder
from coldtake.errors import StoreError
from coldtake.storage.database.erasing import empty_in_file, holds_takes
from coldtake.storage.database.log import SqlStore
from coldtake.storage.fault_messages import of_system
from coldtake.storage.repair.copies import Copies, opened_copy, path_of
from coldtake.storage.takes import FolderTakes, whole_file, write_whole

NAME = "deleting.json"
FREE_PAGES = "the database file"


class Traces:
    """What is left of deleted takes in one data folder.

    beside : the takes beside copies on another disk, None where there are none
    """

    def __init__(
        self,
        folder: Path,
        store: SqlStore,
        takes: FolderTakes,
        copies: Copies | None,
        beside: Callable[[], FolderTakes | None],
    ) -> None:
        self._file = folder / NAME
        self._store = store
        self._takes = takes
        self._copies = copies
        self._beside = beside

    def note(self, take_ids: Collection[str]) -> None:
        """Note on the disk that nothing of these shall be left (ids in small letters)."""
        try:
            write_whole(self._file, msgspec.json.encode(sorted({*self.noted(), *take_ids})))
        except OSError as fault:
            raise of_system(fault, self._file) from fault

    def noted(self) -> frozenset[str]:
        """Return what is noted."""
        with contextlib.suppress(OSError, ValueError):
            return frozenset(msgspec.json.decode(self._file.read_bytes(), type=list[str]))
        return frozenset()

    def remove(self) -> tuple[str, ...]:
        """Remove what is noted; return what could not be reached, and is tried again."""
        take_ids = self.noted()
        if not take_ids:
            return ()
        beside = self._beside()
        for take_id in take_ids:
            self._takes.drop(take_id)
            if beside is not None:
                beside.drop(take_id)
        in_database = () if self._store.compact() else (FREE_PAGES,)
        left = (*in_database, *self._in_copies(take_ids))
        if not left:
            self._file.unlink(missing_ok=True)
            flush_folder(self._file.parent)
        return left

    def _in_copies(self, take_ids: Collection[str]) -> tuple[str, ...]:
        if self._copies is None:
            return ()
        copies, folder = self._copies.all(), self._copies.folder
        newest = copies[0].day if copies else None
        left = [
            str(path_of(copy))
            for copy in copies
            if not _rewritten(copy, take_ids, sure=copy.day == newest)
        ]
        return (*left, *([] if folder.is_dir() or folder == self._copies.inside else [str(folder)]))


def _rewritten(copy: Copy, take_ids: Collection[str], *, sure: bool) -> bool:
    """Write a copy anew without the takes where it has any; False where that failed.

    sure : also where none is found: it may have been made while they were deleted
    """
    path = path_of(copy)
    try:
        with opened_copy(path) as connection:
            holds = holds_takes(connection, take_ids)
        if not (holds or sure):
            return True
        with whole_file(path) as part:
            shutil.copyfile(path, part)
            empty_in_file(part, take_ids)
            with opened_copy(part) as connection:
                said = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
            if said != "ok":
                raise sqlite3.DatabaseError(said)
    except (OSError, sqlite3.Error, StoreError):
        return False
    return True
