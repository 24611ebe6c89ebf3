"""Whether a data folder and a log belong together, settled at the opening.

A folder that held a log once never begins with an empty one by itself: a folder that a synchroniser
brings back in the wrong order, or a disk that is not there, would look like a fresh start, and the
next copy would be of nothing.
"""

from pathlib import Path

from coldtake.errors import StoreError
from coldtake.storage.database.log import SqlStore
from coldtake.storage.database.place import MARKER
from coldtake.storage.database.wal import wal_of
from coldtake.storage.folder import LOG_NAME
from coldtake.storage.takes import FolderTakes

_RESTORE = (
    "Put coldtake.db back, or restore a backup with: coldtake restore FILE. "
    "To start an empty log in this folder: coldtake serve --new-log."
)


def check_file(folder: Path, takes: FolderTakes) -> None:
    """Raise StoreError where a log was here and its file is gone; nothing is made then."""
    database = folder / LOG_NAME
    there = [path.stat().st_size for path in (database, wal_of(database)) if path.exists()]
    if not any(there) and ((folder / MARKER).exists() or takes.there()):
        raise _gone(folder, takes)


def settle(folder: Path, store: SqlStore, takes: FolderTakes, *, new_log: bool) -> None:
    """Compare the log with the folder's marker, and write the marker where there is none.

    Raises StoreError where they do not belong together.
    """
    place, empty = store.place, store.last_sequence() == 0
    orphans = empty and bool(takes.there())
    if new_log and orphans:
        place.mark_later()  # a restore that is cut off here has begun nothing
    elif orphans and place.told != place.name:
        raise _gone(folder, takes)
    elif place.told not in ("", place.name):
        raise StoreError(
            "The log in this folder is not the one that belongs to it.",
            where=str(folder / LOG_NAME),
            remedy=f"If you put it there yourself, delete the file {MARKER} and start again. "
            "If not, put the right log back.",
        )
    else:
        place.mark()


def _gone(folder: Path, takes: FolderTakes) -> StoreError:
    found = len(takes.there())
    holds = f" The folder holds the sound of {found} take{'s' * (found != 1)}." if found else ""
    return StoreError(
        f"The log (coldtake.db) of this data folder is missing.{holds}",
        where=str(folder),
        remedy=_RESTORE,
    )
