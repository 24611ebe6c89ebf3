"""Only the account that owns the data can read it, whatever its umask says."""

import os
import shutil
import stat
import sys
from datetime import UTC, datetime

import pytest

from coldtake.bootstrap import open_services
from coldtake.domain.ids import named_id
from coldtake.practice.archive import export
from coldtake.storage.lock import FolderLock
from coldtake.web.sharing.files import private_folder, write_private

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="such rights are a Unix thing")
NOW = datetime(2027, 1, 12, 12, tzinfo=UTC)


@pytest.fixture
def anything_goes():
    """The most generous umask that there is."""
    before = os.umask(0)
    yield
    os.umask(before)


def rights(folder):
    found = (folder, *folder.rglob("*"))
    return {str(p.relative_to(folder)): stat.S_IMODE(p.stat().st_mode) for p in found}


def too_wide(folder):
    kinds = {p: 0o700 if p.is_dir() else 0o600 for p in (folder, *folder.rglob("*"))}
    return {p.name for p, wanted in kinds.items() if stat.S_IMODE(p.stat().st_mode) != wanted}


def used(folder):
    """Open a folder and do everything that leaves a file in it; return the open services."""
    lock = FolderLock(folder)
    folder.mkdir(exist_ok=True)
    lock.hold("here")
    services = open_services(folder)
    services.pile.add("scales")
    services.take_files.keep(named_id("take"), b"fLaC")
    services.care.copy()
    services.care.check()
    services.care._repairs.note("for the test")
    export(services, folder / "all.zip")
    write_private(private_folder(folder / "sharing") / "key", b"key")
    return services, lock


def test_whatever_is_made_is_private(tmp_path, anything_goes):
    services, lock = used(tmp_path / "data")
    names = set(rights(tmp_path / "data"))
    assert {"coldtake.db", "coldtake.db-wal", "coldtake.db-shm", "takes", "copies"} <= names
    assert {"server.lock", "use.lock", "health.json", "repairs.jsonl", "all.zip"} <= names
    assert too_wide(tmp_path / "data") == set()
    export(services, tmp_path / "elsewhere.zip")
    assert rights(tmp_path)["elsewhere.zip"] == 0o600
    services.close()
    lock.release()


def test_what_a_repair_leaves_is_private(tmp_path, anything_goes):
    services, lock = used(tmp_path / "data")
    services.close()
    lock.release()
    database = tmp_path / "data" / "coldtake.db"
    database.write_bytes(database.read_bytes()[:9000])
    open_services(tmp_path / "data").close()
    assert list((tmp_path / "data" / "damaged").iterdir())
    assert too_wide(tmp_path / "data") == set()


def test_what_was_open_to_others_is_closed_at_the_next_opening(tmp_path):
    services, lock = used(tmp_path / "data")
    services.close()
    lock.release()
    for path in (tmp_path / "data", *(tmp_path / "data").rglob("*")):
        path.chmod(0o755 if path.is_dir() else 0o644)
    (tmp_path / "data" / "all.zip").unlink()  # an export belongs to whoever asked for it
    open_services(tmp_path / "data").close()
    assert too_wide(tmp_path / "data") == set()


def test_what_is_not_ours_in_a_shared_folder_is_left(tmp_path):
    folder = tmp_path / "shared"
    folder.mkdir()
    folder.chmod(0o1777)
    (folder / "somebody's.txt").write_text("")
    (folder / "somebody's.txt").chmod(0o644)
    (folder / "takes").symlink_to(tmp_path / "outside")
    (tmp_path / "outside").mkdir(mode=0o755)
    open_services(folder).close()
    modes = rights(folder)
    assert (modes["."], modes["somebody's.txt"], modes["coldtake.db"]) == (0o1777, 0o644, 0o600)
    shutil.rmtree(folder)
