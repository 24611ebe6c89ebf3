"""Sound of the takes: whole or not there, and damage is seen."""

import hashlib
import uuid

import pytest

from coldtake.errors import NotFoundError, RuleError, StoreError
from coldtake.storage.takes import FolderTakes

ID = "01a211b6-f462-724f-8334-cac9a7375cc2"
SOUND = b"fLaC" + bytes(range(256)) * 40


@pytest.fixture
def takes(tmp_path):
    return FolderTakes(tmp_path / "takes")


def test_kept_sound_lies_under_its_id_with_its_checksum(takes):
    assert takes.keep(ID, SOUND) == hashlib.sha256(SOUND).hexdigest()
    assert takes.path(ID).read_bytes() == SOUND
    assert takes.path(ID).name == f"{ID}.flac"
    assert not takes.damaged(ID, hashlib.sha256(SOUND).hexdigest())


def test_keeping_the_same_bytes_twice_does_not_write_again(takes):
    takes.keep(ID, SOUND)
    before = takes.path(ID).stat()
    takes.keep(ID, SOUND)
    assert takes.path(ID).stat().st_ino == before.st_ino


def test_a_file_that_a_crash_cut_off_is_written_again(takes):
    takes.keep(ID, SOUND)
    takes.path(ID).write_bytes(SOUND[:100])
    takes.keep(ID, SOUND)
    assert takes.path(ID).read_bytes() == SOUND


def test_damage_is_seen(takes):
    sha256 = takes.keep(ID, SOUND)
    path = takes.path(ID)
    flipped = bytearray(SOUND)
    flipped[500] ^= 1
    for damage in (bytes(flipped), SOUND[:-1], b""):
        path.write_bytes(damage)
        assert takes.damaged(ID, sha256)
    path.unlink()
    assert takes.damaged(ID, sha256)


def test_a_missing_sound_says_what_to_do(takes):
    with pytest.raises(NotFoundError, match="recording of this take is missing") as told:
        takes.path(ID)
    assert told.value.remedy


@pytest.mark.parametrize(
    "bad", ["../../etc/passwd", "", "a", f"{ID}/x", f"{ID}\n", ID.replace("-", ""), "." * 36]
)
def test_no_id_from_outside_names_another_file(takes, bad, tmp_path):
    for act in (lambda: takes.keep(bad, SOUND), lambda: takes.path(bad)):
        with pytest.raises(RuleError, match="not the id of a take"):
            act()
    assert list(tmp_path.rglob("*.flac")) == []


def test_a_write_that_fails_leaves_nothing(takes, tmp_path, monkeypatch):
    import os

    def fail(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(StoreError, match="disk is full"):
        takes.keep(ID, SOUND)
    assert list((tmp_path / "takes").iterdir()) == []


def test_ids_differ_only_in_the_size_of_letters(takes):
    takes.keep(ID, SOUND)
    assert takes.path(ID.upper()) == takes.path(ID)
    assert uuid.UUID(takes.path(ID).stem) == uuid.UUID(ID)
