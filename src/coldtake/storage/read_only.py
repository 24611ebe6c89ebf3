"""A data folder that cannot be written (a disk mounted read-only, another account's): looked at.

The log is copied into a temporary folder and read there, so that pages, lists, check and export
work as ever; what is computed on the way goes away with the copy. Nothing is accepted that would
have to be saved. Damage is put right in the copy only, and said.
"""

import contextlib
import errno
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Collection, Iterator, Sequence
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection

from coldtake.domain.maintenance import Checkup, Copy
from coldtake.durable import private_file
from coldtake.errors import StoreError
from coldtake.storage.database.log import SqlStore
from coldtake.storage.folder import LOG_NAME, TAKES_NAME, sqlite_url
from coldtake.storage.folder_maintenance import FolderMaintenance
from coldtake.storage.repair.copies import Copies, opened
from coldtake.storage.repair.recovery import look_over
from coldtake.storage.repair.repairs import Repairs
from coldtake.storage.takes import FolderTakes

_REFUSED = (errno.EACCES, errno.EPERM, errno.EROFS)
_BESIDE = ("-wal", "-journal")
_WHAT = "The data folder cannot be written, so nothing is saved."
_REMEDY = "Allow writing there, or copy the folder and name the copy with --data."
WORDS = f"{_WHAT} You can look at everything and export it."


def cannot_be_written(folder: Path) -> bool:
    """Say whether a folder holds a log and refuses to be written; tried out, not asked for."""
    database = folder / LOG_NAME
    try:
        if database.exists():
            database.open("rb+").close()
            tempfile.TemporaryFile(dir=folder).close()
    except OSError as fault:
        return fault.errno in _REFUSED
    return False


def _refusal(folder: Path) -> StoreError:
    return StoreError(
        _WHAT,
        where=str(folder),
        remedy=_REMEDY,
    )


class LookingStore(SqlStore):
    """The log of such a folder, over its copy."""

    def __init__(self, folder: Path, snapshot: Path, copies: Copies, repairs: Repairs) -> None:
        self._looked_at = folder
        self._settled = False
        super().__init__(sqlite_url(snapshot), from_copy=copies.entry, note=repairs.note)

    def only_look(self) -> None:
        """Accept nothing more: what had to be put right to be read has been."""
        self._settled = True

    def confirm(self) -> None:
        """Raise StoreError: whatever is acknowledged would be lost."""
        raise _refusal(self._looked_at)

    def amiss(self) -> str:
        """Say that nothing is saved."""
        return WORDS

    @contextlib.contextmanager
    def _acknowledging(self) -> Iterator[Connection]:
        if self._settled:
            self.confirm()
        with super()._acknowledging() as connection:
            yield connection


class LookingTakes(FolderTakes):
    """The sounds of such a folder."""

    def __init__(self, folder: Path) -> None:
        """Use the folder as it is; there may be none."""
        self._folder = folder

    def keep(self, take_id: str, flac: bytes) -> str:  # noqa: ARG002 - the protocol's
        """Raise StoreError."""
        raise _refusal(self._folder)

    def drop(self, take_id: str) -> None:  # noqa: ARG002 - the protocol's
        """Raise StoreError."""
        raise _refusal(self._folder)


class Looker(FolderMaintenance):
    """Looks at such a folder, and at its copies; makes none."""

    def __init__(
        self,
        folder: Path,
        snapshot: Path,
        store: LookingStore,
        takes: LookingTakes,
        copies: Copies,
        repairs: Repairs,
    ) -> None:
        super().__init__(folder, store, takes, copies=None, repairs=repairs)
        self._snapshot = snapshot
        self._shown = copies

    def copies(self) -> Sequence[Copy]:
        """Return the automatic copies, newest first."""
        return self._shown.all()

    def copies_to(self) -> Path | None:
        """Return the folder where copies would go."""
        return self._shown.folder

    def choose_folder(self, folder: Path | None) -> None:  # noqa: ARG002 - the protocol's
        """Raise StoreError."""
        raise _refusal(self._folder)

    def copy(self) -> Copy | None:
        """Raise StoreError."""
        raise _refusal(self._folder)

    def forget(self, take_ids: Collection[str]) -> None:  # noqa: ARG002 - the protocol's
        """Raise StoreError."""
        raise _refusal(self._folder)

    def watch(self, hourly: Callable[[], object] | None = None) -> None:
        """Do nothing: nobody changes the copy."""

    def close(self) -> None:
        """Close the log and remove its copy."""
        super().close()
        shutil.rmtree(self._snapshot, ignore_errors=True)

    def _remarks(self, events: int) -> tuple[str, ...]:  # noqa: ARG002 - one keeper's as another's
        count = len(self.fresh())
        if not count:
            return ()
        things = f"{count} thing{'s' * (count != 1)}"
        return (f"{things} could be put right for this look only: the folder cannot be written.",)

    def _write(self, checkup: Checkup) -> None:
        """Write nothing: the next look may be by somebody else."""


def look(folder: Path, now: Callable[[], datetime]) -> tuple[LookingStore, LookingTakes, Looker]:
    """Open such a folder. Raises StoreError."""
    snapshot = Path(tempfile.mkdtemp(prefix="coldtake-"))  # for this account only
    try:
        _copy_log(folder / LOG_NAME, snapshot / LOG_NAME)
        copies, repairs = Copies(folder / LOG_NAME), Repairs(snapshot, now)
        look_over(snapshot / LOG_NAME, copies, repairs, alone=True)
        store = LookingStore(folder, snapshot, copies, repairs)
    except BaseException:
        shutil.rmtree(snapshot, ignore_errors=True)
        raise
    takes = LookingTakes(folder / TAKES_NAME)
    return store, takes, Looker(folder, snapshot, store, takes, copies, repairs)


def _copy_log(source: Path, target: Path) -> None:
    """Copy a log as it is now; file by file where SQLite itself cannot read it there."""
    with contextlib.suppress(sqlite3.Error):
        with opened(source, "mode=ro") as told, opened(private_file(target)) as written:
            told.backup(written)
        return
    target.unlink(missing_ok=True)
    for name in (source.name, *(source.name + end for end in _BESIDE)):
        if (found := source.with_name(name)).exists():
            shutil.copyfile(found, private_file(target.with_name(name)))
