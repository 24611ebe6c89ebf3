"""A disk that fills up, for real (a tmpfs of two megabytes where we may mount, else a limit of file
size), in whatever is going on: told in plain words, nothing acknowledged lost, and with room it
goes on.
"""

import os
import random
import resource
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path

import pytest

from coldtake.bootstrap import open_services
from coldtake.domain import events as ev
from coldtake.domain.ids import named_id
from coldtake.errors import ColdtakeError, StoreError
from coldtake.practice.archive import Archive, export, restore
from coldtake.practice.services import House
from making import NOON, SteppingClock, event

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="tmpfs and limits are Unix things")
SIZE = 2 << 20


def mounted(folder: Path) -> bool:
    words = ["mount", "-t", "tmpfs", "-o", f"size={SIZE}", "none", str(folder)]
    try:
        return subprocess.run(words, capture_output=True, check=False).returncode == 0
    except OSError:
        return False


@contextmanager
def room_for(size: int) -> Iterator[None]:
    """Let no file grow beyond a size, where nothing can be mounted."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@pytest.fixture
def small(tmp_path) -> Iterator[Path]:
    """A disk of two megabytes; without the right to mount one, files of a fifth of it at most."""
    folder = tmp_path / "small"
    folder.mkdir()
    if mounted(folder):
        yield folder
        subprocess.run(["umount", "-l", str(folder)], check=True)
    else:
        with room_for(SIZE // 5):
            yield folder


def opened(folder: Path) -> House:
    return open_services(folder, clock=SteppingClock())


def happening(number: int) -> ev.Event:
    data = ev.IntentionSet(session_id="s", slot_id=None, words=f"{number} " + "x" * 3000)
    return event(data, at=NOON + timedelta(minutes=number))


def take(services: House, number: int) -> ev.Event:
    one = named_id("take", str(number))
    sha256 = services.take_files.keep(one, random.Random(number).randbytes(40_000))
    data = ev.TakeRecorded(take_id=one, step_id="s", duration_s=1, sample_rate=8000, sha256=sha256)
    return event(data, at=NOON + timedelta(minutes=number))


def filled(services: House) -> list[ev.Event]:
    """Play until the disk is full; return what was acknowledged."""
    kept: list[ev.Event] = []

    def play() -> None:
        for number in range(2000):
            one = take(services, number) if number % 3 == 0 else happening(number)
            services.store.append([one])
            kept.append(one)

    with pytest.raises(StoreError, match="full") as told:
        play()
    assert "Free some space" in told.value.remedy
    return kept


def make_room(folder: Path) -> None:
    if os.path.ismount(folder):
        subprocess.run(["mount", "-o", f"remount,size={8 * SIZE}", str(folder)], check=True)
    else:
        _, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))


def check(folder: Path, kept: list[ev.Event]) -> None:
    services = opened(folder)
    assert [one for _, one in services.store.events()] == kept
    assert not [t for t in services.state().takes if services.takes.damaged(t)]
    assert services.care.repairs() == ()
    services.close()


def test_a_session_on_a_disk_that_fills_up(small):
    services = opened(small)
    kept = filled(services)
    assert len(kept) > 20
    with pytest.raises(ColdtakeError) as told:
        services.care.copy()
    assert told.value.remedy
    with pytest.raises(ColdtakeError) as told:
        services.pile.add_many("\n".join(f"a topic {n} {'x' * 150}" for n in range(200)))
    assert told.value.remedy
    assert services.state().topics == {}  # the paste was all or nothing
    kept = [one for _, one in services.store.events()]
    services.close()
    assert not list(small.rglob("*.part"))
    check(small, kept)  # it starts on a full disk, too
    make_room(small)
    check(small, kept)
    services = opened(small)
    assert services.store.append([happening(5000)]) == 1
    assert services.care.copy()
    services.close()


def test_an_archive_that_does_not_fit_leaves_nothing(small, tmp_path):
    services = opened(small)
    kept = filled(services)
    with pytest.raises(StoreError, match="cannot be written") as told:
        export(services, small / "all.zip")
    assert "free some space" in told.value.remedy
    assert not list(small.glob("all.zip*"))
    services.close()
    check(small, kept)


def test_a_restore_that_does_not_fit_leaves_nothing_and_can_be_begun_again(small, tmp_path):
    source = opened(tmp_path / "source")
    for number in range(60):
        source.store.append([take(source, number), happening(number + 1000)])
    export(source, tmp_path / "all.zip")
    services = opened(small)
    with pytest.raises(StoreError, match="full"), Archive(tmp_path / "all.zip") as archive:
        restore(services, archive)
    assert services.store.last_sequence() == 0
    assert services.take_files.there() == frozenset()
    make_room(small)
    with Archive(tmp_path / "all.zip") as archive:
        restore(services, archive)
    assert list(services.store.events()) == list(source.store.events())
    services.close()
    source.close()


def test_an_upgrade_without_room_for_the_copy_before_it_is_not_begun(small):
    released = Path(__file__).parents[1] / "upgrade" / "released" / "0001.db"
    shutil.copy(released, small / "coldtake.db")
    before = released.read_bytes()
    filler = small / "filler"
    try:
        with filler.open("wb") as file:
            for _ in range(SIZE // 4096 + 1):
                file.write(bytes(4096))
                file.flush()
    except OSError:
        pass
    if os.path.ismount(small):
        with pytest.raises(StoreError) as told:
            opened(small)
        assert told.value.remedy
        assert (small / "coldtake.db").read_bytes() == before
    filler.unlink()
    opened(small).close()


def test_a_repair_without_room_changes_nothing_and_is_made_when_there_is(small):
    services = opened(small)
    kept = [happening(number) for number in range(100)]
    services.store.append(kept)
    services.care.copy()
    services.close()
    database = small / "coldtake.db"
    database.write_bytes(database.read_bytes()[:-100_000])
    damaged = database.read_bytes()
    if os.path.ismount(small):
        (small / "filler").write_bytes(bytes(shutil.disk_usage(small).free - 8192))
        with pytest.raises(StoreError, match="full"):
            opened(small)
        assert database.read_bytes() == damaged
        (small / "filler").unlink()
        with pytest.raises(StoreError, match=r"full|failed"):
            opened(small)  # room for the new one, but not for its write-ahead log beside it
        assert database.read_bytes() == damaged
        make_room(small)
    services = opened(small)
    assert [one for _, one in services.store.events()] == kept
    assert services.care.repairs()
    services.close()
