"""A log that was taken away or replaced while it is open acknowledges nothing more.

Such things are done by folder synchronisers, by a backup put back, by a disk that goes away.
"""

import os
import shutil
import sqlite3
import sys

import pytest

from coldtake.bootstrap import open_services
from coldtake.cli.entry import main
from coldtake.domain import events as ev
from coldtake.domain.ids import named_id
from coldtake.domain.take import NewTake
from coldtake.errors import StoreError
from coldtake.storage.database.log import SqlStore
from coldtake.storage.database.place import MARKER
from coldtake.storage.folder import sqlite_url
from coldtake.storage.opening import open_folder
from making import NOON, event

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="open files stay there on Windows")


def words(text: str) -> ev.Event:
    return event(ev.IntentionSet(session_id="s", slot_id=None, words=text))


@pytest.fixture
def folder(tmp_path):
    """A data folder with a log of one entry and a take."""
    (tmp_path / "data").mkdir()
    opened = open_folder(tmp_path / "data", lambda: NOON)
    sha256 = opened.takes.keep(named_id("take"), b"fLaC")
    data = ev.TakeRecorded(
        take_id=named_id("take"), step_id="s", duration_s=1, sample_rate=8000, sha256=sha256
    )
    opened.store.append([event(data), words("first")])
    opened.keeper.close()
    return tmp_path / "data"


@pytest.fixture
def opened(folder):
    one = open_folder(folder, lambda: NOON)
    one.store.append([words("opened")])
    yield one
    one.keeper.close()


def kept(folder) -> list[str]:
    store = SqlStore(sqlite_url(folder))
    found = [e.data.words for _, e in store.events() if isinstance(e.data, ev.IntentionSet)]
    store.close()
    return found


def replaced(folder):
    """As a synchroniser does: a whole copy under another name, renamed over it."""
    shutil.copy(folder / "coldtake.db", folder / "coldtake.db.new")
    (folder / "coldtake.db.new").replace(folder / "coldtake.db")


def put_in_another(folder):
    """The database of another log, write-ahead log and all."""
    other = SqlStore(f"sqlite:///{folder.parent / 'other.db'}")
    other.close()
    for end in ("-wal", "-shm"):
        (folder / f"coldtake.db{end}").unlink()
    (folder.parent / "other.db").replace(folder / "coldtake.db")


def made_anew(folder):
    shutil.rmtree(folder)
    open_folder(folder, lambda: NOON).keeper.close()


WAYS = {
    "folder removed": shutil.rmtree,
    "folder moved": lambda folder: folder.rename(folder.with_name("moved")),
    "folder empty": lambda folder: (shutil.rmtree(folder), folder.mkdir()),
    "folder made anew": made_anew,
    "database removed": lambda folder: (folder / "coldtake.db").unlink(),
    "database replaced": replaced,
    "another database": put_in_another,
    "write-ahead log removed": lambda folder: (folder / "coldtake.db-wal").unlink(),
    "marker removed": lambda folder: (folder / MARKER).unlink(),
    "marker of another": lambda folder: (folder / MARKER).write_text(named_id("another")),
}


@pytest.mark.parametrize("way", WAYS)
def test_nothing_is_acknowledged_into_nowhere(opened, folder, way):
    WAYS[way](folder)
    with pytest.raises(StoreError, match="removed or replaced") as told:
        opened.store.append([words("lost")])
    assert "Nothing is saved" in told.value.remedy
    with pytest.raises(StoreError, match="removed or replaced"):
        opened.store.append([words("opened")])  # it was known: that is an acknowledgement, too
    with pytest.raises(StoreError, match="removed or replaced"):
        opened.store.refuse(b"{", "it is cut off", NOON)


def test_a_folder_that_was_put_back_goes_on(opened, folder):
    folder.rename(folder.with_name("moved"))
    with pytest.raises(StoreError):
        opened.store.append([words("while it was away")])
    folder.with_name("moved").rename(folder)
    opened.store.append([words("while it was away"), words("after")])
    assert kept(folder) == ["first", "opened", "while it was away", "after"]


def test_a_marker_that_was_only_written_anew_is_the_same(opened, folder):
    text = (folder / MARKER).read_text()
    (folder / MARKER).unlink()
    (folder / MARKER).write_text(text)
    assert opened.store.append([words("on")]) == 1
    assert opened.store.amiss() == ""


def test_a_write_ahead_log_made_anew_by_nobodys_fault_is_the_same(opened, folder):
    opened.store._engine.dispose()  # nobody has it open for a moment
    assert not (folder / "coldtake.db-wal").exists()
    assert opened.store.append([words("on")]) == 1
    assert kept(folder)[-1] == "on"


def test_a_log_put_back_in_place_is_seen_by_its_numbers(opened, folder):
    with sqlite3.connect(folder / "coldtake.db") as other:
        other.execute("DELETE FROM log WHERE sequence > 1")
        other.execute("UPDATE sqlite_sequence SET seq = 1 WHERE name = 'log'")
    other.close()
    with pytest.raises(StoreError, match="put back to an earlier state"):
        opened.store.append([words("lost")])
    assert kept(folder) == []


def test_the_check_says_it(opened, folder):
    assert opened.keeper.check().sound
    (folder / MARKER).unlink()
    found = opened.keeper.check()
    assert not found.sound
    assert "removed or replaced" in found.remarks[0]


def test_a_known_take_is_not_acknowledged_into_nowhere(folder):
    import soundfile

    wav = folder.parent / "take.wav"
    soundfile.write(wav, [0.1, -0.1] * 2000, 8000)
    services = open_services(folder)
    taken = {"step_id": "s", "take_id": named_id("again")}
    first = services.takes.keep(wav.read_bytes(), NewTake(**taken))
    services.takes.sound(first.id).unlink()
    services.takes.keep(
        wav.read_bytes(), NewTake(**taken)
    )  # it is sent again: now it is there again
    assert services.takes.sound(first.id).exists()
    folder.rename(folder.with_name("moved"))
    with pytest.raises(StoreError, match="removed or replaced"):
        services.takes.keep(wav.read_bytes(), NewTake(**taken))
    services.close()


GONE = {
    "database": lambda folder: (folder / "coldtake.db").unlink(),
    "database and marker": lambda folder: [(folder / n).unlink() for n in ("coldtake.db", MARKER)],
    "database and takes": lambda folder: (
        (folder / "coldtake.db").unlink(),
        shutil.rmtree(folder / "takes"),
    ),
    "what is in it": lambda folder: (folder / "coldtake.db").write_bytes(b""),
}


@pytest.mark.parametrize("what", GONE)
def test_a_folder_that_lost_its_log_never_starts_as_an_empty_one(folder, what):
    GONE[what](folder)
    for _ in range(2):
        with pytest.raises(StoreError, match="is missing") as told:
            open_folder(folder, lambda: NOON)
        assert "coldtake restore" in told.value.remedy
    assert not (folder / "coldtake.db").exists() or not (folder / "coldtake.db").stat().st_size
    asked = open_folder(folder, lambda: NOON, new_log=True)
    asked.keeper.close()
    if what != "database and takes":
        with pytest.raises(StoreError, match="is missing"):  # nothing was begun
            open_folder(folder, lambda: NOON)
    asked = open_folder(folder, lambda: NOON, new_log=True)
    asked.store.append([words("a new start")])
    asked.keeper.close()
    open_folder(folder, lambda: NOON).keeper.close()
    assert kept(folder) == ["a new start"]


def test_a_log_of_another_folder_is_not_taken_for_this_ones(folder, tmp_path):
    (tmp_path / "other").mkdir()
    other = open_folder(tmp_path / "other", lambda: NOON)
    other.store.append([words("of another")])
    other.keeper.close()
    shutil.copy(tmp_path / "other" / "coldtake.db", folder / "coldtake.db")
    with pytest.raises(StoreError, match="not the one that belongs to it") as told:
        open_folder(folder, lambda: NOON)
    assert MARKER in told.value.remedy
    (folder / MARKER).unlink()
    open_folder(folder, lambda: NOON).keeper.close()
    assert kept(folder) == ["of another"]


def test_a_copy_put_in_place_by_hand_is_this_folders_log(folder):
    opened = open_folder(folder, lambda: NOON)
    opened.keeper.copy()
    opened.keeper.close()
    [copy] = (folder / "copies").glob("*.db")
    shutil.copy(copy, folder / "coldtake.db")
    open_folder(folder, lambda: NOON).keeper.close()
    (folder / "coldtake.db").unlink()  # and one that is put together again is, too
    again = open_folder(folder, lambda: NOON)
    assert again.repair is not None
    again.keeper.close()
    assert kept(folder) == ["first"]


def test_a_check_beside_a_running_server_sees_that_it_has_another_log(folder):
    """The server here is the process that runs these tests: it is there, and it is not this one."""
    opened = open_folder(folder, lambda: NOON)
    lock, found = folder / "server.lock", (folder / "coldtake.db").stat()
    words = f"process {os.getppid()}, http://127.0.0.1:1/\n{os.getppid()} {found.st_dev} "
    lock.write_text(f"{words}{found.st_ino}\n")
    assert opened.keeper.check().sound
    lock.write_text(f"{words}{found.st_ino + 1}\n")
    assert "another log open" in opened.keeper.check().remarks[0]
    opened.keeper.close()


def test_a_command_that_looks_makes_no_folder(tmp_path, capsys):
    for command in ("check", "copies", "export"):
        words = [command, "--data", str(tmp_path / "none")]
        assert main([*words, *([str(tmp_path / "x.zip")] if command == "export" else [])]) == 4
        assert "data folder was not found" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
