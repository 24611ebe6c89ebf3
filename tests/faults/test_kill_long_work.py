"""SIGKILL at 200 random points of upgrades, archives, restores and repairs: each is done or not
begun, what was there stays, and begun again it comes to its end.
"""

import random
import shutil
import sqlite3
import sys
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import alembic.command  # noqa: F401 - imported here, so that no child has to
import pytest
from killing import Say, Script, killed, quick_folder, ran

from coldtake.bootstrap import open_services
from coldtake.domain import events as ev
from coldtake.domain.ids import named_id
from coldtake.practice.archive import Archive, export, restore
from coldtake.practice.services import House
from coldtake.storage.database.log import SqlStore
from coldtake.storage.database.schema import HEAD
from coldtake.storage.folder import sqlite_url
from coldtake.storage.repair.copies import opened_copy, path_of
from coldtake.storage.takes import FolderTakes
from making import NOON, SteppingClock, event

pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL and fork are Unix things"),
]
SEED = 20270116
RELEASED = Path(__file__).parents[1] / "upgrade" / "released"
KILLS = {"upgrade": 60, "archive": 60, "restore": 50, "repair": 30}
TAKES = 10


def happening(number: int) -> ev.Event:
    words = f"intention {number} " + "x" * (number % 700)
    data = ev.IntentionSet(session_id="s", slot_id=None, words=words)
    return event(data, at=NOON + timedelta(minutes=number))


SENT = [happening(n) for n in range(400)]


@pytest.fixture(scope="module")
def place():
    with quick_folder() as folder:
        yield folder


@pytest.fixture(scope="module")
def played(place) -> Path:
    """A log with takes, its copy, and an archive of it beside."""
    folder = place / "played"
    folder.mkdir()
    services = open_services(folder, clock=SteppingClock())
    services.store.append(SENT[:300])
    for number in range(TAKES):
        one = named_id("take", str(number))
        sound = random.Random(number).randbytes(60_000)
        recorded = ev.TakeRecorded(
            take_id=one,
            step_id="s",
            duration_s=1,
            sample_rate=8000,
            sha256=services.take_files.keep(one, sound),
        )
        services.store.append([event(recorded, at=NOON + timedelta(days=1, minutes=number))])
    services.care.copy()
    services.store.append(SENT[300:])
    export(services, place / "all.zip")
    services.close()
    return folder


@pytest.fixture(scope="module")
def old(place) -> Path:
    """A database of the first shape with some weeks in it."""
    folder = place / "old"
    folder.mkdir()
    shutil.copy(RELEASED / "0001.db", folder / "coldtake.db")
    rows = [
        (e.id, e.data.__struct_config__.tag, e.at.isoformat(), e.day.isoformat(), ev.to_json(e))
        for e in SENT
    ]
    with sqlite3.connect(folder / "coldtake.db") as old:
        query = "INSERT INTO log (id, kind, at, day, body) VALUES (?, ?, ?, ?, CAST(? AS TEXT))"
        old.executemany(query, rows)
    old.close()
    return folder


def opened(folder: Path) -> House:
    folder.mkdir(exist_ok=True)
    return open_services(folder, clock=SteppingClock(NOON + timedelta(days=9)))


def whole(services: House, *, sounds: bool = True) -> list[ev.Event]:
    events = [one for _, one in services.store.events()]
    assert len({one.id for one in events}) == len(events)
    for take in services.state().takes.values() if sounds else ():
        assert not services.takes.damaged(take.id)
    return events


def typical_s(script: Script, prepare: Callable[[Path], None], folder: Path) -> float:
    """Return how long a script takes when nobody kills it, in a process like the others."""
    prepare(folder)
    begun = time.monotonic()
    ran(script, folder, random.Random(0))
    shutil.rmtree(folder)
    return time.monotonic() - begun


def each_kill(
    name: str, script: Script, prepare: Callable[[Path], None], verify: Callable[[Path], None]
) -> None:
    chance = random.Random(f"{SEED} {name}")
    with quick_folder() as place:
        within_s = typical_s(script, prepare, place / "first")
        for number in range(KILLS[name]):
            folder = place / str(number)
            prepare(folder)
            killed(script, folder, chance, within_s=within_s)
            verify(folder)
            shutil.rmtree(folder)


def test_upgrades(old):
    def upgrade(folder: Path, _chance: random.Random, say: Say) -> None:
        say("begun")
        opened(folder).close()

    def verify(folder: Path) -> None:
        services = opened(folder)
        kept = whole(services, sounds=False)  # the released log speaks of a sound never made
        assert [e.id for e in kept[-len(SENT) :]] == [e.id for e in SENT]
        [copy] = services.care.copies()  # made before the upgrade, and whole
        with opened_copy(path_of(copy)) as made:
            assert made.execute("SELECT count(*) FROM log").fetchone()[0] >= len(SENT)
            assert made.execute("SELECT version_num FROM alembic_version").fetchone()[0] < HEAD
        services.close()

    each_kill("upgrade", upgrade, lambda folder: shutil.copytree(old, folder), verify)


def test_archives(played):
    def archive(folder: Path, _chance: random.Random, say: Say) -> None:
        services = opened(folder)
        say("begun")
        export(services, folder / "all.zip")
        services.close()

    def prepare(folder: Path) -> None:
        shutil.copytree(played, folder)
        (folder / "all.zip").write_bytes(b"the older one")

    def verify(folder: Path) -> None:
        services = opened(folder)
        if (folder / "all.zip").read_bytes() != b"the older one":
            with Archive(folder / "all.zip") as made:
                assert list(made.events()) == whole(services)
                assert len([t for t in made.take_ids if made.take(t)]) == TAKES
        export(services, folder / "all.zip")
        assert not (folder / "all.zip.part").exists()
        services.close()

    each_kill("archive", archive, prepare, verify)


def test_restores(played):
    source = played.parent / "all.zip"
    expected = SqlStore(sqlite_url(played))
    events = [one for _, one in expected.events()]
    expected.close()

    def bring(folder: Path, _chance: random.Random, say: Say) -> None:
        services = opened(folder)
        say("begun")
        with Archive(source) as archive:
            restore(services, archive)
        services.close()

    def verify(folder: Path) -> None:
        services = opened(folder)
        assert whole(services) in ([], events)  # all of it or nothing
        with Archive(source) as archive:
            restore(services, archive)
        assert whole(services) == events
        assert len(services.state().takes) == len(FolderTakes(folder / "takes").there()) == TAKES
        services.close()

    each_kill("restore", bring, lambda folder: opened(folder).close(), verify)


def test_repairs(played):
    def repair(folder: Path, _chance: random.Random, say: Say) -> None:
        say("begun")
        opened(folder).close()

    def prepare(folder: Path) -> None:
        shutil.copytree(played, folder)
        database = folder / "coldtake.db"
        data = bytearray(database.read_bytes())
        data[4096 * 3 : 4096 * 6] = bytes(4096 * 3)
        data[24:32] = bytes(8)
        database.write_bytes(data)

    def verify(folder: Path) -> None:
        services = opened(folder)
        events = whole(services)
        assert {e.id for e in SENT[:300]} <= {e.id for e in events}
        assert len(services.state().takes) == TAKES
        assert services.care.repairs()
        assert services.store.append([happening(9999)]) == 1
        services.close()

    each_kill("repair", repair, prepare, verify)
