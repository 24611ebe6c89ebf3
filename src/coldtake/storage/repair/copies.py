"""Automatic copies of the log's database (SQLite's online backup, sqlite.org/backup.html).

One a day on which something changed, kept by age: the last seven, then one a week for four weeks,
then one a month for twelve months. A copy is checked whole before it takes its name, and no older
one goes before that. They lie in the data folder, or where `copies.to` beside the log says.
"""

import contextlib
import re
import sqlite3
from collections.abc import Collection, Iterable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

from coldtake.domain.maintenance import Copy
from coldtake.durable import flush_folder, private_folder
from coldtake.errors import InputError, StoreError
from coldtake.storage.database.checksums import COLUMNS, digest_of
from coldtake.storage.fault_messages import of_system
from coldtake.storage.takes import whole_file, write_whole

INSIDE = "copies"
CHOICE = "copies.to"
DAILY, WEEKLY, MONTHLY, BEFORE = 7, 4, 12, 3
_NAME = re.compile(r"coldtake-(?P<day>\d{4}-\d{2}-\d{2})(?:-before-(?P<before>\w{1,20}))?\.db")
_WAIT_S = 5.0
_ALIKE = 3  # of the five columns: then an entry of that number is the same one

Columns = dict[str, str]


class Copies:
    """The copies of one database."""

    def __init__(self, database: Path) -> None:
        self._database = database
        self._choice = database.parent / CHOICE
        self.inside = database.parent / INSIDE

    @property
    def folder(self) -> Path:
        """Where copies go: the chosen folder, or the one in the data folder."""
        try:
            chosen = self._choice.read_text(encoding="utf-8").strip()
        except FileNotFoundError:
            return self.inside
        except OSError as fault:
            raise of_system(fault, self._choice) from fault
        return Path(chosen) if chosen else self.inside

    def choose(self, folder: Path | None) -> None:
        """Let copies go to another folder from now on; None: into the data folder again."""
        if folder is not None and not folder.is_dir():
            raise InputError(
                "This folder was not found.", where=str(folder), remedy="Make the folder first."
            )
        try:
            if folder is None:
                self._choice.unlink(missing_ok=True)
            else:
                write_whole(self._choice, f"{folder.absolute()}\n".encode())
        except OSError as fault:
            raise of_system(fault, self._choice) from fault

    def all(self) -> tuple[Copy, ...]:
        """Return every copy in both places, newest first."""
        found = [copy for folder in self._places() for copy in _copies_in(folder)]
        return tuple(sorted(found, key=lambda c: (c.day, not c.before, c.name), reverse=True))

    def make(self, day: date, *, before: str = "") -> Copy | None:
        """Copy the database as it is now; None when it says nothing new since the last copy.

        before : the shape it is about to be brought to. Raises StoreError; then nothing is changed.
        """
        state, newest = self._now(), self._newest()
        if state == newest and not before:
            return None
        end = f"-before-{before}" if before else ""
        target = self._reachable() / f"coldtake-{day.isoformat()}{end}.db"
        shrunk = newest is not None and state[0] < newest[0]
        if shrunk and target.exists():
            return None  # the log lost entries since: that copy is worth more than a new one
        try:
            with whole_file(target) as part:
                _back_up(self._database, part)
        except OSError as fault:
            raise of_system(fault, target) from fault
        except sqlite3.Error as fault:
            raise StoreError(
                f"The log could not be copied: {fault}.",
                where=str(target),
                remedy="Free some space there, or let Coldtake check the log: coldtake check.",
            ) from fault
        if not shrunk:
            self._forget_old(target.parent)
        return _copy_of(target)

    def entry(self, sequence: int, as_it_is: Columns) -> Columns | None:
        """Look an entry up in the copies, newest first: whole by its checksum, or None."""
        for copy in self.all():
            with contextlib.suppress(sqlite3.Error), opened_copy(path_of(copy)) as connection:
                found = _entry(connection, sequence, as_it_is)
                if found:
                    return found
        return None

    def index_fault(self, *, mend: bool = False) -> str:
        """Compare the database's index with its table; empty when they agree. mend : make it anew.

        SQLite says the rest of what `PRAGMA integrity_check` finds, too.
        """
        try:
            with opened(self._database) as connection:
                if mend:
                    connection.execute("REINDEX log")
                said = str(connection.execute("PRAGMA integrity_check(1)").fetchone()[0])
        except sqlite3.Error as fault:
            return str(fault)
        return "" if said == "ok" else said.splitlines()[-1]

    def entries_held(self) -> int:
        """Return how many entries the newest copy holds, 0 without one."""
        newest = self._newest()
        return newest[0] if newest else 0

    def _now(self) -> tuple[int, int, str]:
        try:
            with opened(self._database) as connection:
                return holding(connection)
        except sqlite3.Error:  # it says so itself when it is copied
            return 0, 0, ""

    def _newest(self) -> tuple[int, int, str] | None:
        for copy in self.all():
            with contextlib.suppress(sqlite3.Error), opened_copy(path_of(copy)) as connection:
                return holding(connection)
        return None

    def _places(self) -> Iterable[Path]:
        return dict.fromkeys((self.folder, self.inside))

    def _reachable(self) -> Path:
        """Return the chosen folder, or the one inside while the chosen one is not there."""
        chosen = self.folder
        if chosen != self.inside and chosen.is_dir():
            return chosen
        private_folder(self.inside)
        return self.inside

    def _forget_old(self, folder: Path) -> None:
        copies = _copies_in(folder)
        daily = kept_by_age({c.day for c in copies if not c.before})
        ahead = sorted((c for c in copies if c.before), key=lambda c: c.day, reverse=True)
        gone = [c for c in copies if not c.before and c.day not in daily] + ahead[BEFORE:]
        for copy in gone:
            with contextlib.suppress(OSError):
                path_of(copy).unlink()
        flush_folder(folder)


def kept_by_age(days: Collection[date]) -> frozenset[date]:
    """Return the days whose copies stay.

    Copies are counted, not days of the calendar, so that a clock set wrong drops nothing.
    """
    newest = sorted(days, reverse=True)
    weeks = {day.isocalendar()[:2]: day for day in reversed(newest)}  # the newest of each
    months = {(day.year, day.month): day for day in reversed(newest)}
    by_week = sorted(weeks.values(), reverse=True)[:WEEKLY]
    by_month = sorted(months.values(), reverse=True)[:MONTHLY]
    return frozenset((*newest[:DAILY], *by_week, *by_month))


@contextlib.contextmanager
def opened(database: Path, extra: str = "mode=rw") -> Iterator[sqlite3.Connection]:
    """Open a database file with SQLite itself; what is no text any more becomes surrogates."""
    uri = f"{database.absolute().as_uri()}?{extra}"
    connection = sqlite3.connect(uri, uri=True, timeout=_WAIT_S, isolation_level=None)
    connection.text_factory = lambda raw: raw.decode("utf-8", "surrogateescape")
    try:
        yield connection
    finally:
        connection.close()


def opened_copy(copy: Path) -> contextlib.AbstractContextManager[sqlite3.Connection]:
    """Open a copy, which nobody writes to."""
    return opened(copy, "mode=ro&immutable=1")


def _back_up(database: Path, part: Path) -> None:
    """Copy a database that may be in use, and check the copy. Raises sqlite3.Error."""
    with opened(database) as source, opened(part) as target:
        source.backup(target)
        target.execute("PRAGMA journal_mode=DELETE")  # one file, not three
        said = [row[0] for row in target.execute("PRAGMA quick_check(1)")]
        if said != ["ok"]:
            raise sqlite3.DatabaseError(f"the copy is damaged ({said[0]})")


def holding(connection: sqlite3.Connection) -> tuple[int, int, str]:
    """Say what a database holds: entries, refused ones, shape. Raises sqlite3.Error."""
    counts = [
        connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
        for table in ("log", "quarantine")
    ]
    shape = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    return counts[0], counts[1], shape[0] if shape else ""


def _copies_in(folder: Path) -> list[Copy]:
    try:
        return [_copy_of(path) for path in folder.iterdir() if _NAME.fullmatch(path.name)]
    except OSError:  # not there, or a disk that is not plugged in
        return []


def _copy_of(path: Path) -> Copy:
    told = _NAME.fullmatch(path.name)
    assert told is not None
    return Copy(
        name=path.name,
        folder=str(path.parent),
        day=date.fromisoformat(told["day"]),
        before=told["before"] or "",
        size_bytes=path.stat().st_size,
    )


def path_of(copy: Copy) -> Path:
    """Return where a copy lies."""
    return Path(copy.folder) / copy.name


def _entry(connection: sqlite3.Connection, sequence: int, as_it_is: Columns) -> Columns | None:
    shown = ", ".join((*COLUMNS, "digest"))
    event_id = as_it_is["id"].encode("utf-8", "replace").decode()
    for condition, value in (("id", event_id), ("sequence", sequence)):
        query = f"SELECT {shown} FROM log WHERE {condition} = ?"
        row: tuple[Any, ...] | None = connection.execute(query, (value,)).fetchone()
        if row and digest_of(*row[:5]) == row[5]:
            found = dict(zip(COLUMNS, row[:5], strict=True))
            if sum(found[name] == as_it_is[name] for name in COLUMNS) >= _ALIKE:
                return found
    return None
