"""A damaged database, seen at the start and put right before anybody reads it.

A new database is built from the last good copy and from every entry that can still be read in the
damaged one; only when it is whole on the disk does it take the log's name. What was damaged is kept
aside as it was. A crash at any moment leaves either the damaged database or the whole new one, and
the next start goes on from there.
"""

import contextlib
import filecmp
import shutil
import sqlite3
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from coldtake.domain.events import Event, from_json
from coldtake.domain.maintenance import Repair
from coldtake.durable import flush_file, flush_folder, private_file, private_folder
from coldtake.errors import BusyError, StoreError
from coldtake.storage.database.checksums import COLUMNS
from coldtake.storage.database.log import SqlStore
from coldtake.storage.database.place import MARKER
from coldtake.storage.database.wal import is_cut
from coldtake.storage.fault_messages import of_system
from coldtake.storage.folder import sqlite_url_of
from coldtake.storage.repair.carving import Carved, carve, whole
from coldtake.storage.repair.copies import Copies, opened, opened_copy, path_of
from coldtake.storage.repair.repairs import Repairs

ASIDE = "damaged"
_BUILDING, _READY = "coldtake.db.building", "coldtake.db.repaired"
_BESIDE = ("-wal", "-shm", "-journal")
_BATCH = 1000
# Up to this size indexes are compared with their table at each start (a quarter of a second on a
# slow machine); beyond it once a day, by the caretaker.
_THOROUGH_BELOW = 64 * 1024 * 1024
_SAID = ("malformed", "not a database", "corrupt")
Entry = dict[str, str]


def look_over(database: Path, copies: Copies, repairs: Repairs, *, alone: bool) -> Repair | None:
    """Check the database and repair it where it is damaged; None when there was nothing to do.

    alone : nobody else has the folder open, so that it may be repaired.
    Raises StoreError where it cannot be repaired, BusyError where others use it.
    """
    if alone:
        _finish(database)
        _tidy(database.parent)
    fault = fault_of(database, copies, alone=alone)
    if not fault:
        return None
    if not alone:
        raise BusyError(
            f"The log is damaged: {fault}.",
            where=str(database),
            remedy="Close every other Coldtake on this folder; the next start then repairs it.",
        )
    try:
        return _repair(database, copies, repairs, fault)
    except OSError as error:
        raise of_system(error, database) from error
    except sqlite3.Error as error:
        raise StoreError(
            f"The log is damaged, and putting it together again failed: {error}.",
            where=str(database),
            remedy="Free some space and start again. The damaged log is as it was.",
        ) from error


def fault_of(database: Path, copies: Copies, *, alone: bool) -> str:
    """Say what is wrong with a database file; empty when nothing is."""
    if not database.exists() or database.stat().st_size == 0:
        return "its file is gone" if copies.all() and not _rows(database) else ""
    if alone and is_cut(database):
        return "its latest entries (coldtake.db-wal) do not fit their checksums"
    try:
        with opened(database, "mode=ro") as connection:  # a writer would tidy up at its close
            small = database.stat().st_size < _THOROUGH_BELOW
            check = "integrity_check" if small else "quick_check"
            said = [row[0] for row in connection.execute(f"PRAGMA {check}(1)")]
            tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master")}
            if said == ["ok"] and "log" in tables:
                _read_all(connection)
    except sqlite3.DatabaseError as fault:
        words = str(fault).splitlines()[0]
        return words if any(known in words.lower() for known in _SAID) else ""
    if said != ["ok"]:
        return str(said[0]).splitlines()[-1]
    return "it holds no log any more" if copies.all() and "log" not in tables else ""


def _read_all(connection: sqlite3.Connection) -> None:
    """Touch every entry to its last byte: an entry may be torn although its page is whole."""
    last = [row[1] for row in connection.execute("PRAGMA table_info(log)")][-1]
    connection.execute(f"SELECT sum(length(CAST({last} AS BLOB))) FROM log").fetchone()


def _rows(database: Path) -> bool:
    """Say whether a database of no length has all it holds in its write-ahead log, as a new one."""
    wal = database.with_name(f"{database.name}-wal")
    return database.exists() and wal.exists() and wal.stat().st_size > 0


def _repair(database: Path, copies: Copies, repairs: Repairs, fault: str) -> Repair:
    aside = _kept_aside(database, repairs.now())
    found = carve(database)
    base = _last_good(copies)
    entries = _merged(base[1] if base else {}, found.entries)
    if not entries and not base:
        raise StoreError(
            f"The log is damaged: {fault}. Nothing in it can be read.",
            where=str(database),
            remedy=f"There is no copy either. A file of it lies in {aside}; restore an archive.",
        )
    building = _build(database, entries, found, base[0] if base else None)
    newest = _newest_number(aside / database.name)
    lost = _count_lost(found, base[1] if base else {}, newest)
    repair = repairs.note(_words(fault, base, entries, lost), lost=lost or 0, aside=str(aside))
    building.replace(database.with_name(_READY))  # noted before it counts: never silently
    flush_folder(database.parent)
    _finish(database)
    return repair


def _words(
    fault: str,
    base: tuple[Path, dict[int, Entry]] | None,
    entries: dict[int, Entry],
    lost: int | None,
) -> str:
    told = f"The log was damaged ({fault}) and has been put together again: {_counted(entries)}"
    if base:
        newer = len(entries) - len(base[1])
        told += f", {newer} of them newer than the copy {base[0].name}"
    if lost is None:
        return f"{told}. Whether anything newer is missing cannot be told any more."
    if not lost:
        return f"{told}. Nothing is missing."
    return f"{told}. {lost} could not be brought back; what is left of them is kept aside."


def _counted(entries: dict[int, Entry]) -> str:
    return "one entry" if len(entries) == 1 else f"{len(entries)} entries"


def _kept_aside(database: Path, now: datetime) -> Path:
    """Copy the damaged files, the same ones once, into a folder of their own; they stay there.

    Whoever tries again and again (a disk that is full, a log with nothing to read) fills no disk.
    """
    kept = database.parent / ASIDE
    private_folder(kept)
    names = [name for name in _files_of(database) if database.with_name(name).exists()]
    for known in sorted(kept.iterdir()):
        if _alike(database.parent, known, names):
            return known
    folder = kept / now.strftime("%Y-%m-%d-%H%M%S")
    private_folder(folder)
    try:
        for name in names:
            shutil.copyfile(database.with_name(name), private_file(folder / name))
            flush_file(folder / name)
        flush_folder(folder)
    except OSError:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    return folder


def _files_of(database: Path) -> tuple[str, ...]:
    return (database.name, *(database.name + end for end in _BESIDE))


def _alike(one: Path, other: Path, names: list[str]) -> bool:
    """Say whether both folders hold the same of these files; an index (-shm) is made anew."""
    kept = [name for name in names if not name.endswith("-shm")]
    _, differing, failed = filecmp.cmpfiles(one, other, kept, shallow=False)
    return not differing and not failed


def _last_good(copies: Copies) -> tuple[Path, dict[int, Entry]] | None:
    """Return the newest copy that can be read whole, with its entries."""
    for copy in copies.all():
        with contextlib.suppress(sqlite3.Error), opened_copy(path_of(copy)) as connection:
            return path_of(copy), dict(_entries(connection))
    return None


def _entries(connection: sqlite3.Connection) -> Iterator[tuple[int, Entry]]:
    names = [row[1] for row in connection.execute("PRAGMA table_info(log)")]
    digest = "digest" if "digest" in names else "''"
    query = f"SELECT sequence, {', '.join(COLUMNS)}, {digest} FROM log ORDER BY sequence"
    for sequence, *columns, told in connection.execute(query):
        entry = whole(dict(zip(COLUMNS, columns, strict=True)), told)
        if entry:
            yield sequence, entry


def _merged(copied: dict[int, Entry], read: dict[int, Entry]) -> dict[int, Entry]:
    """Bring both together by id: the copy's order first, then what came after it."""
    known = {entry["id"] for entry in copied.values()}
    merged = dict(copied)
    for number, entry in sorted(read.items()):
        if entry["id"] not in known:
            merged[number if number not in merged else max(merged) + 1] = entry
    return dict(sorted(merged.items()))


def _count_lost(found: Carved, copied: dict[int, Entry], newest: int | None) -> int | None:
    """Count the numbers of which nothing came back; the log gives them without gaps."""
    known = found.entries.keys() | copied.keys()
    return None if newest is None else max((newest, *known, *found.torn)) - len(known)


def _newest_number(aside: Path) -> int | None:
    """Return the number that the database gave last, None where it does not say so any more."""
    with contextlib.suppress(sqlite3.Error, TypeError), opened(aside, "mode=ro") as connection:
        connection.execute("PRAGMA writable_schema=ON")  # then a file cut short is read as far
        query = "SELECT seq FROM sqlite_sequence WHERE name = 'log'"
        return int(connection.execute(query).fetchone()[0])
    return None


def _build(database: Path, entries: dict[int, Entry], found: Carved, base: Path | None) -> Path:
    """Write the new database whole, under a name that does not count yet; return where."""
    building = database.with_name(_BUILDING)
    _remove(building)
    store = SqlStore(sqlite_url_of(building), marker=database.with_name(MARKER))
    try:
        for batch in _batches(entries):
            store.append(batch)
        store.refuse_all(_refused(found, base))
    finally:
        store.close()
    _settle(building, len(entries))
    flush_file(building)
    return building


def _settle(building: Path, count: int) -> None:
    """Bring all of a database into its one file, and see that it is there. Raises sqlite3.Error."""
    with opened(building) as connection:
        connection.execute("PRAGMA journal_mode=DELETE")  # fails where its log does not fit in
        said = connection.execute("PRAGMA integrity_check(1)").fetchone()[0]
        held = connection.execute("SELECT count(*) FROM log").fetchone()[0]
    if said != "ok" or held != count:
        raise sqlite3.DatabaseError("it did not come out whole")


def _batches(entries: dict[int, Entry]) -> Iterator[list[Event]]:
    events = [from_json(entry["body"]) for entry in entries.values()]
    for start in range(0, len(events), _BATCH):
        yield events[start : start + _BATCH]


def _refused(found: Carved, base: Path | None) -> Iterator[tuple[datetime, str, bytes]]:
    told = {(datetime.fromisoformat(at), why, raw) for _, at, why, raw in found.refused}
    if base:
        with contextlib.suppress(sqlite3.Error), opened_copy(base) as connection:
            query = "SELECT at, why, raw FROM quarantine ORDER BY sequence"
            for at, why, raw in connection.execute(query):
                told.add((datetime.fromisoformat(at), why, bytes(raw)))
    yield from sorted(told)
    for number, columns in found.torn.items():
        left = "\n".join(columns.values()).encode("utf-8", "surrogateescape")
        now = datetime.now().astimezone()
        yield now, f"entry {number} of the log was damaged on the disk", left


def _finish(database: Path) -> None:
    """Let a whole new database take the log's place: also one that a crash left waiting."""
    ready = database.with_name(_READY)
    if not ready.exists():
        return
    for end in _BESIDE:
        database.with_name(database.name + end).unlink(missing_ok=True)
    flush_folder(database.parent)
    ready.replace(database)
    flush_folder(database.parent)


def _tidy(folder: Path) -> None:
    """Take away what a killed process left half written; nobody else is here."""
    _remove(folder / _BUILDING)
    for place in (folder, folder / "takes", folder / "copies"):
        with contextlib.suppress(OSError):
            for part in place.glob("*.part"):
                part.unlink(missing_ok=True)


def _remove(database: Path) -> None:
    for name in _files_of(database):
        database.with_name(name).unlink(missing_ok=True)
