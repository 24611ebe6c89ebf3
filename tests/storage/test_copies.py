"""Automatic copies: whole, by age, where they were asked to go; and what the caretaker does."""

import base64
import json
import os
import shutil
import sqlite3
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from coldtake.domain import events as ev
from coldtake.domain.ids import named_id
from coldtake.errors import InputError, StoreError
from coldtake.storage.opening import Opened, open_folder
from coldtake.storage.repair.copies import Copies, kept_by_age, opened_copy, path_of
from coldtake.storage.repair.source import DatabaseSource, is_database
from coldtake.storage.takes import FolderTakes
from making import NOON, event

DAY = date(2027, 1, 12)


def words(text: str) -> ev.Event:
    return event(ev.IntentionSet(session_id="s", slot_id=None, words=text))


@pytest.fixture
def at_hand(tmp_path):
    moment = [datetime(2027, 1, 12, 8, tzinfo=UTC)]
    opened = open_folder(tmp_path, lambda: moment[0])
    yield opened, moment
    opened.keeper.close()


def take(opened: Opened, name: str) -> str:
    one = named_id("take", name)
    sha256 = opened.takes.keep(one, b"fLaC" + name.encode() * 500)
    data = ev.TakeRecorded(take_id=one, step_id="s", duration_s=1, sample_rate=8000, sha256=sha256)
    opened.store.append([event(data)])
    return one


def test_what_stays_by_age():
    """Every day for three years, then: 7 days, 4 weeks, 12 months, each by its newest."""
    days = [DAY - timedelta(days=n) for n in range(1000)]
    stay = kept_by_age(days)
    assert {DAY - timedelta(days=n) for n in range(7)} <= stay
    assert len({d.isocalendar()[:2] for d in stay if d > DAY - timedelta(days=21)}) == 4
    assert len({(d.year, d.month) for d in stay}) == 12
    assert date(2026, 2, 28) in stay  # the last day of the oldest month that counts
    assert len(stay) <= 7 + 4 + 12


def test_what_stays_when_the_clock_was_wrong_for_a_day():
    real = {DAY - timedelta(days=n) for n in range(5)}
    assert real <= kept_by_age({*real, date(2099, 1, 1)})


def test_day_by_day_as_they_are_made(at_hand):
    opened, moment = at_hand
    for number in range(40):
        moment[0] = datetime(2027, 1, 12, 8, tzinfo=UTC) + timedelta(days=number)
        opened.store.append([words(str(number))])
        assert opened.keeper.copy().day == moment[0].date()
    days = {copy.day for copy in opened.keeper.copies()}
    made = {DAY + timedelta(days=n) for n in range(40)}
    assert days == kept_by_age(made)


def test_a_copy_is_made_only_when_something_changed_and_holds_everything(at_hand):
    opened, moment = at_hand
    opened.store.append([words("one"), words("two")])
    copy = opened.keeper.copy()
    moment[0] += timedelta(days=1)
    assert opened.keeper.copy() is None
    opened.store.refuse(b"x", "why", NOON)
    assert opened.keeper.copy().day == DAY + timedelta(days=1)
    with opened_copy(path_of(copy)) as connection:
        assert connection.execute("SELECT count(*) FROM log").fetchone() == (2,)
    assert {p.suffix for p in Path(copy.folder).iterdir()} == {".db"}


def test_a_log_that_lost_entries_never_takes_the_place_of_a_fuller_copy(at_hand, tmp_path):
    opened, _ = at_hand
    opened.store.append([words(str(n)) for n in range(5)])
    opened.keeper.copy()
    with sqlite3.connect(tmp_path / "coldtake.db") as other:
        other.execute("DELETE FROM log WHERE sequence > 2")
    other.close()
    assert opened.keeper.copy() is None
    found = opened.keeper.check()
    assert "3 entries more than the log" in found.remarks[0]
    assert not found.sound
    [copy] = opened.keeper.copies()
    with DatabaseSource(path_of(copy)) as source:
        assert len(list(source.events())) == 5


def test_a_damaged_database_is_not_copied_over_a_good_copy(at_hand, tmp_path):
    opened, _ = at_hand
    opened.store.append([words("x" * 3000 + str(n)) for n in range(40)])
    copy = path_of(opened.keeper.copy())
    before = copy.read_bytes()
    opened.store.append([words("more")])
    opened.store.close()
    database = tmp_path / "coldtake.db"
    data = bytearray(database.read_bytes())
    data[4096 * 8 : 4096 * 12] = bytes(4096 * 4)
    database.write_bytes(data)
    with pytest.raises(StoreError, match="could not be copied") as told:
        Copies(database).make(DAY)
    assert told.value.remedy
    assert copy.read_bytes() == before
    assert not list(copy.parent.glob("*.part"))


def test_another_folder_of_choice_takes_the_takes_too_and_gives_them_back(at_hand, tmp_path):
    opened, _ = at_hand
    outside = tmp_path / "other disk"
    with pytest.raises(InputError, match="folder was not found"):
        opened.keeper.choose_folder(outside)
    outside.mkdir()
    opened.keeper.choose_folder(outside)
    gone, hurt, fine = (take(opened, name) for name in ("gone", "hurt", "fine"))
    assert opened.keeper.copy().folder == str(outside)
    opened.takes.path(gone).unlink()
    opened.takes.path(hurt).write_bytes(b"fLaC" + b"hurl" * 500)
    found = opened.keeper.check()
    assert set(found.brought_back) == {gone, hurt}
    assert found.sound
    assert opened.keeper.check().brought_back == ()
    assert opened.takes.path(fine).exists()
    shutil.rmtree(outside)  # the disk is unplugged
    opened.store.append([words("meanwhile")])
    assert opened.keeper.copy().folder == str(tmp_path / "copies")
    assert "is not there" in opened.keeper.check().remarks[0]
    opened.keeper.choose_folder(None)
    assert opened.keeper.copies_to() == tmp_path / "copies"


def test_takes_that_nobody_can_bring_back_are_named(at_hand):
    opened, _ = at_hand
    gone, hurt = take(opened, "gone"), take(opened, "hurt")
    opened.takes.path(gone).unlink()
    opened.takes.path(hurt).write_bytes(b"fLaC")
    stray = named_id("stray")
    opened.takes.keep(stray, b"fLaC never acknowledged")
    found = opened.keeper.check()
    assert (found.missing, found.damaged, found.strays) == ((gone,), (hurt,), (stray,))
    assert not found.sound
    assert opened.keeper.last() == found
    assert opened.takes.path(stray).exists()


def test_every_take_has_its_turn_within_a_month(at_hand):
    opened, moment = at_hand
    ids = {take(opened, str(n)) for n in range(120)}
    hurt = max(ids)
    opened.takes.path(hurt).write_bytes(b"fLaC")
    seen, first = False, opened.keeper.look_in_turn()
    assert first.heard_of == 50
    for _ in range(30):
        moment[0] += timedelta(days=1)
        seen = seen or hurt in opened.keeper.look_in_turn().damaged
    assert seen


def test_a_turned_bit_in_an_entry_is_put_right_from_the_copy_while_it_is_read(at_hand, tmp_path):
    opened, _ = at_hand
    opened.store.append([words("one"), words("two"), words("three")])
    opened.keeper.copy()
    with sqlite3.connect(tmp_path / "coldtake.db") as other:
        other.execute("UPDATE log SET body = replace(body, 'two', 'too') WHERE sequence = 2")
        other.execute("UPDATE log SET body = 'x' || body WHERE sequence = 3")
    other.close()
    found = [one for _, one in opened.store.events()]
    assert [one.data.words for one in found] == ["one", "two", "three"]
    assert len(opened.keeper.fresh()) == 2
    assert opened.keeper.check().sound


def test_what_cannot_be_put_right_is_kept_as_it_is_and_named(at_hand, tmp_path):
    opened, _ = at_hand
    opened.store.append([words("one"), words("two"), words("three")])
    with sqlite3.connect(tmp_path / "coldtake.db") as other:
        other.execute("UPDATE log SET body = replace(body, 'two', 'abc') WHERE sequence = 2")
    other.close()
    assert [one.data.words for _, one in opened.store.events()] == ["one", "three"]
    [repair] = opened.keeper.fresh()
    assert repair.lost == 1
    assert "entry 2" in repair.what
    [(_, why, raw)] = opened.store.refused()
    assert "entry 2" in why
    assert base64.b64decode(json.loads(raw)["kind"]) == b"intention_set"


def test_a_take_is_on_the_disk_before_it_has_its_name(tmp_path, monkeypatch):
    """POSIX: fsync of the file, then rename, then fsync of the folder; in that order."""
    done = []
    sync, replace = os.fsync, Path.replace

    def noted(handle: int) -> None:
        done.append("folder" if os.path.isdir(f"/proc/self/fd/{handle}") else "file")
        sync(handle)

    def renamed(self: Path, target: Path) -> Path:
        done.append("rename")
        return replace(self, target)

    takes = FolderTakes(tmp_path / "takes")
    monkeypatch.setattr(os, "fsync", noted)
    monkeypatch.setattr(Path, "replace", renamed)
    takes.keep(named_id("one"), b"fLaC")
    takes.keep(named_id("one"), b"fLaC")  # whoever wrote it may have died before the last step
    assert done == ["file", "rename", "folder", "folder"]


def test_what_is_a_database(tmp_path):
    (tmp_path / "x").write_bytes(b"PK")
    assert not is_database(tmp_path / "x")
    assert not is_database(tmp_path / "none")
    Copies(tmp_path / "coldtake.db")
    with sqlite3.connect(tmp_path / "empty.db") as other:
        other.execute("CREATE TABLE x (y)")
    other.close()
    assert is_database(tmp_path / "empty.db")
    with pytest.raises(InputError, match="holds no log"):
        DatabaseSource(tmp_path / "empty.db")
