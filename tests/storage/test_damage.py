"""Truncated and bit-flipped databases, in dozens of seeded places: seen, named, repaired.

What the last copy holds always comes back. What came after it comes back as long as its own bytes
are there; one turned bit is less than that. What does not come back is counted and named.
"""

import random
import shutil
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from coldtake.domain import events as ev
from coldtake.errors import BusyError, StoreError
from coldtake.storage.database import wal
from coldtake.storage.database.log import SqlStore
from coldtake.storage.folder import sqlite_url
from coldtake.storage.lock import FolderUse
from coldtake.storage.opening import open_folder
from coldtake.storage.repair.carving import carve
from coldtake.storage.repair.copies import Copies
from making import NOON, event

SEED = 20270113
COPIED, AFTER = 260, 90  # events in the last copy, and events newer than it
DAY = date(2027, 1, 12)


def happening(number: int) -> ev.Event:
    """Short and long ones: most fit into a page, every ninth needs several."""
    words = f"intention {number} ♩ " + "x" * (9000 if number % 9 == 0 else number)
    data = ev.IntentionSet(session_id="s", slot_id=None, words=words)
    return event(data, at=NOON + timedelta(minutes=number))


SENT = [happening(n) for n in range(COPIED + AFTER)]


def now() -> datetime:
    return datetime(2027, 1, 13, 8, tzinfo=UTC)


@pytest.fixture(scope="module")
def played(tmp_path_factory) -> Path:
    """A data folder as a killed server leaves it: a copy, newer events, some only in the -wal."""
    folder, taken = tmp_path_factory.mktemp("played"), tmp_path_factory.mktemp("taken")
    store = SqlStore(sqlite_url(folder))
    store.append(SENT[:COPIED])
    store.refuse(b"{cut off", "it is cut off", NOON)
    assert Copies(folder / "coldtake.db").make(DAY)
    for start in range(COPIED, len(SENT), 15):
        store.append(SENT[start : start + 15])
    shutil.copytree(folder, taken, dirs_exist_ok=True)
    (taken / "coldtake.db-shm").unlink()
    store.close()
    return taken


@pytest.fixture(scope="module")
def closed(played, tmp_path_factory) -> Path:
    """The same folder after an orderly end: all in one file."""
    folder = tmp_path_factory.mktemp("closed")
    shutil.copytree(played, folder, dirs_exist_ok=True)
    store = SqlStore(sqlite_url(folder))
    assert store.last_sequence() == len(SENT)
    store.close()
    assert not (folder / "coldtake.db-wal").exists()
    return folder


def opened_and_read(folder: Path) -> tuple[list[ev.Event], int]:
    """Open as every start does; return the events and how many were told as lost."""
    opened = open_folder(folder, now)
    try:
        events = [one for _, one in opened.store.events()]
        assert opened.store.append([happening(9999)]) == 1
        assert opened.store.append(events) == 0  # sent once more, nothing is doubled
        told = opened.keeper.repairs()
        lost = len(SENT) if told and "cannot be told" in told[0].what else 0
        lost += sum(repair.lost for repair in told)
        assert (b"{cut off" in [raw for *_, raw in opened.store.refused()]) or lost
    finally:
        opened.keeper.close()
    return events, lost


def check(folder: Path, *, copied: bool = True) -> int:
    """Check what came back against what was sent; return how much is missing."""
    events, lost = opened_and_read(folder)
    found = {one.id: one for one in events}
    assert len(found) == len(events)  # nothing is doubled
    sent = {one.id: one for one in SENT}
    assert all(sent[i] == one for i, one in found.items())  # nothing was made up
    missing = [one.id for one in SENT if one.id not in found]
    if copied:
        assert not [one for one in SENT[:COPIED] if one.id not in found]
    assert len(missing) <= lost  # never silently
    return len(missing)


def damaged(folder: Path, place: Path, name: str, change) -> Path:
    shutil.copytree(folder, place, dirs_exist_ok=True)
    path = place / name
    path.write_bytes(change(bytearray(path.read_bytes())))
    return place


def flipped(chance: random.Random):
    def change(data: bytearray) -> bytes:
        data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
        return bytes(data)

    return change


@pytest.mark.parametrize("number", range(40))
def test_a_turned_bit_loses_nothing(closed, tmp_path, number):
    chance = random.Random(f"{SEED} {number}")
    folder = damaged(closed, tmp_path, "coldtake.db", flipped(chance))
    assert check(folder) <= 1  # the entry whose very length turned, if it is newer than the copy


@pytest.mark.parametrize("number", range(14))
def test_a_turned_bit_without_any_copy_loses_one_entry_at_most(closed, tmp_path, number):
    chance = random.Random(f"alone {SEED} {number}")
    folder = damaged(closed, tmp_path, "coldtake.db", flipped(chance))
    shutil.rmtree(folder / "copies")
    assert check(folder, copied=False) <= 1


@pytest.mark.parametrize("number", range(20))
def test_a_turned_bit_in_the_write_ahead_log(played, tmp_path, number):
    chance = random.Random(f"wal {SEED} {number}")
    folder = damaged(played, tmp_path, "coldtake.db-wal", flipped(chance))
    assert check(folder) <= 1


@pytest.mark.parametrize("number", range(16))
def test_a_stretch_of_zeros_and_a_cut_off_file(closed, tmp_path, number):
    chance = random.Random(f"cut {SEED} {number}")

    def change(data: bytearray) -> bytes:
        if number % 2:
            return bytes(data[: chance.randrange(len(data))])
        at = chance.randrange(len(data))
        data[at : at + 4096] = bytes(min(4096, len(data) - at))
        return bytes(data)

    missing = check(damaged(closed, tmp_path, "coldtake.db", change))
    assert missing <= AFTER


def test_a_cut_off_write_ahead_log_keeps_what_is_before_the_cut(played, tmp_path):
    folder = damaged(played, tmp_path, "coldtake.db-wal", lambda data: bytes(data[:-9000]))
    events, _ = opened_and_read(folder)
    assert [one.id for one in events] == [one.id for one in SENT[: len(events)]]
    assert len(events) >= COPIED


@pytest.mark.parametrize("left", [None, b"", b"this was never a database " * 200])
def test_a_file_that_is_gone_or_another_one(closed, tmp_path, left):
    shutil.copytree(closed, tmp_path, dirs_exist_ok=True)
    path = tmp_path / "coldtake.db"
    path.unlink()
    if left is not None:
        path.write_bytes(left)
    events, _ = opened_and_read(tmp_path)
    assert [one.id for one in events] == [one.id for one in SENT[:COPIED]]


def test_the_damaged_file_is_kept_aside_and_the_repair_named(closed, tmp_path):
    folder = damaged(closed, tmp_path, "coldtake.db", lambda d: bytes(d[: len(d) // 2]))
    before = (folder / "coldtake.db").read_bytes()
    opened = open_folder(folder, now)
    repair = opened.repair
    opened.keeper.close()
    assert repair is not None
    assert "damaged" in repair.what
    assert "coldtake-2027-01-12.db" in repair.what
    assert (Path(repair.aside) / "coldtake.db").read_bytes() == before
    again = open_folder(folder, now)
    assert again.repair is None  # once
    assert again.keeper.repairs() == (repair,)
    again.keeper.close()


def test_without_copy_and_without_anything_to_read_nothing_is_touched(tmp_path):
    broken = tmp_path / "coldtake.db"
    broken.write_bytes(b"this was never a database " * 200)
    with pytest.raises(StoreError, match="damaged") as told:
        open_folder(tmp_path, now)
    assert told.value.remedy
    assert broken.read_bytes() == b"this was never a database " * 200


def test_nobody_repairs_under_the_hands_of_another_process(closed, tmp_path):
    other = FolderUse(tmp_path)
    folder = damaged(closed, tmp_path, "coldtake.db", lambda d: bytes(d[: len(d) // 2]))
    other.begin()
    other.share()
    with pytest.raises(BusyError, match="damaged") as told:
        open_folder(folder, now)
    assert "Close every other" in told.value.remedy
    other.end()
    assert check(folder) <= AFTER


@pytest.mark.parametrize("left", ["building", "repaired"])
def test_a_repair_that_was_killed_goes_on(closed, tmp_path, left):
    """Before the new database is whole it counts for nothing; once whole, it takes the name."""
    folder = damaged(closed, tmp_path, "coldtake.db", lambda d: bytes(d[: len(d) // 2]))
    whole = (closed / "coldtake.db").read_bytes()
    half = whole[: len(whole) // 3] if left == "building" else whole
    (folder / f"coldtake.db.{left}").write_bytes(half)
    (folder / "takes").mkdir(exist_ok=True)
    (folder / "takes" / "x.part").write_bytes(b"half a take")
    missing = check(folder)
    assert (missing == 0) if left == "repaired" else (missing <= AFTER)
    assert not list(folder.glob("coldtake.db.*"))
    assert not list(folder.rglob("*.part"))


def test_entries_can_be_carved_from_a_whole_database(closed, played):
    for folder in (closed, played):
        found = carve(folder / "coldtake.db")
        assert [one["id"] for _, one in sorted(found.entries.items())] == [e.id for e in SENT]
        assert [raw for *_, raw in found.refused] == [b"{cut off"]
        assert found.torn == {}


def test_a_healthy_write_ahead_log_is_not_called_cut(played, closed):
    assert not wal.is_cut(played / "coldtake.db")
    assert not wal.is_cut(closed / "coldtake.db")


def test_the_same_damage_is_kept_aside_once(tmp_path):
    """Each attempt to open a log that nothing could be read from kept another copy of it."""
    database = tmp_path / "coldtake.db"
    database.write_bytes(b"SQLite format 3\0" + random.Random(SEED).randbytes(40_000))
    (tmp_path / "coldtake.db-wal").write_bytes(b"no log at all")
    for attempt in range(4):
        with pytest.raises(StoreError, match="Nothing in it can be read"):
            open_folder(tmp_path, lambda at=attempt: now() + timedelta(minutes=at))
    [aside] = (tmp_path / "damaged").iterdir()
    assert (aside / "coldtake.db").read_bytes() == database.read_bytes()
    database.write_bytes(b"SQLite format 3\0" + random.Random(SEED + 1).randbytes(40_000))
    with pytest.raises(StoreError, match="Nothing in it can be read"):
        open_folder(tmp_path, lambda: now() + timedelta(hours=1))
    assert len(list((tmp_path / "damaged").iterdir())) == 2
