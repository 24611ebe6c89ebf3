"""Everything that happens when a data folder is opened, in its order.

The folder is taken into use, or only looked at where it cannot be written; the database is looked
over and repaired where it is damaged; before its shape changes it is copied; then it is opened.
"""

import contextlib
import os
import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy.engine import URL

from coldtake.domain.maintenance import Repair
from coldtake.durable import make_private
from coldtake.storage import ownership
from coldtake.storage.database.log import SqlStore
from coldtake.storage.database.place import MARKER
from coldtake.storage.database.schema import HEAD
from coldtake.storage.folder import LOG_NAME, TAKES_NAME, sqlite_url
from coldtake.storage.folder_maintenance import HEALTH, FolderMaintenance
from coldtake.storage.lock import FolderUse
from coldtake.storage.read_only import LookingStore, cannot_be_written, look
from coldtake.storage.repair.copies import CHOICE, INSIDE, Copies, opened
from coldtake.storage.repair.recovery import ASIDE, look_over
from coldtake.storage.repair.repairs import NAME as REPAIRS
from coldtake.storage.repair.repairs import Repairs
from coldtake.storage.repair.traces import NAME as DELETING
from coldtake.storage.takes import FolderTakes

# Which files of a data folder are ours; what else lies there is left alone.
_FOLDERS = (TAKES_NAME, INSIDE, ASIDE, "sharing")
_FILES = (f"{LOG_NAME}*", "*.lock", REPAIRS, HEALTH, CHOICE, MARKER, DELETING)


@dataclass(frozen=True, slots=True)
class Opened:
    """An opened data folder. repair : what had to be put right at this opening."""

    store: SqlStore
    takes: FolderTakes
    keeper: FolderMaintenance
    repair: Repair | None

    def begin(self) -> None:
        """Say that what had to be put right is; where one can only look, nothing more is kept."""
        if isinstance(self.store, LookingStore):
            self.store.only_look()


def open_folder(
    folder: Path,
    now: Callable[[], datetime],
    url: str | URL | None = None,
    *,
    new_log: bool = False,
) -> Opened:
    """Open a data folder; its log is in it unless `url` names another database.

    new_log : begin an empty log even where the folder once had another one
    A folder that cannot be written is only looked at (`read_only`).
    Raises StoreError, BusyError; then nothing stays open.
    """
    if url is None and cannot_be_written(folder):
        store, looked_at, looker = look(folder, now)
        return Opened(store, looked_at, looker, None)
    close_to_others(folder)
    use, takes = FolderUse(folder), FolderTakes(folder / TAKES_NAME)
    alone = use.begin()
    try:
        return _opened(folder, now, url, takes, use, alone=alone, new_log=new_log)
    except BaseException:
        use.end()
        raise


def _opened(
    folder: Path,
    now: Callable[[], datetime],
    url: str | URL | None,
    takes: FolderTakes,
    use: FolderUse,
    *,
    alone: bool,
    new_log: bool,
) -> Opened:
    repairs, repair = Repairs(folder, now), None
    copies = None if url else Copies(folder / LOG_NAME)
    if copies:
        repair = look_over(folder / LOG_NAME, copies, repairs, alone=alone)
        _copy_before_upgrade(folder / LOG_NAME, copies, now)
        if not new_log:
            ownership.check_file(folder, takes)
    store = SqlStore(
        url or sqlite_url(folder),
        from_copy=copies.entry if copies else None,
        note=repairs.note,
        marker=folder / MARKER,
    )
    try:
        ownership.settle(folder, store, takes, new_log=new_log)
    except BaseException:
        store.close()
        raise
    use.share()
    keeper = FolderMaintenance(folder, store, takes, copies=copies, repairs=repairs, use=use)
    return Opened(store, takes, keeper, repair)


def _copy_before_upgrade(database: Path, copies: Copies, now: Callable[[], datetime]) -> None:
    """Copy a database of an older shape, so that a bad upgrade can be undone. Raises StoreError."""
    found = None
    with contextlib.suppress(sqlite3.Error), opened(database) as connection:
        found = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    if found and found[0] < HEAD:  # shapes are numbered; a newer one is refused when it is opened
        copies.make(now().date(), before=HEAD)


def close_to_others(folder: Path) -> None:
    """Let nobody else read a data folder and what Coldtake keeps in it, old files included."""
    make_private(_ours(folder))


def _ours(folder: Path) -> Iterator[str | Path]:
    yield folder
    for pattern in _FILES:
        yield from folder.glob(pattern)
    for name in _FOLDERS:
        if not (folder / name).is_symlink():
            for place, _, files in os.walk(folder / name):
                yield place
                yield from (os.path.join(place, file) for file in files)
