"""`coldtake export`, `restore`, `copies` and `check`, as they are typed."""

import json

import pytest

from coldtake.bootstrap import open_services
from coldtake.cli import main
from coldtake.storage.folder_maintenance import HEALTH


@pytest.fixture
def data(tmp_path):
    folder = tmp_path / "data"
    services = open_services(folder)
    services.pile.add("scales")
    services.close()
    return folder


def told(capsys, *words: str) -> tuple[int, str, str]:
    status = main([str(w) for w in words])
    said = capsys.readouterr()
    return status, said.out, said.err


def test_out_and_back(data, tmp_path, capsys):
    assert told(capsys, "export", tmp_path / "all.zip", "--data", data)[0] == 0
    status, out, _ = told(capsys, "restore", tmp_path / "all.zip", "--data", tmp_path / "new")
    assert (status, out) == (0, "Restored 1 log entries and 0 takes.\n")
    status, out, _ = told(capsys, "topics", "--data", tmp_path / "new")
    assert "scales" in out


def test_another_log_asks_for_merge(data, tmp_path, capsys):
    told(capsys, "export", tmp_path / "all.zip", "--data", data)
    other = open_services(tmp_path / "other")
    other.pile.add("mine")
    other.close()
    status, _, err = told(capsys, "restore", tmp_path / "all.zip", "--data", tmp_path / "other")
    assert status == 2
    assert "does not have" in err
    merge = ("restore", tmp_path / "all.zip", "--merge", "--json", "--data", tmp_path / "other")
    status, out, _ = told(capsys, *merge)
    assert (status, json.loads(out)["events"]) == (0, 1)


def test_copies_and_back_from_one(data, tmp_path, capsys):
    assert "No backup yet" in told(capsys, "copies", "--data", data)[1]
    _, out, _ = told(capsys, "copies", "--now", "--json", "--data", data)
    [copy] = json.loads(out)["copies"]
    path = data / "copies" / copy["name"]
    status, out, _ = told(capsys, "restore", path, "--data", tmp_path / "new")
    assert (status, out) == (0, "Restored 1 log entries and 0 takes.\n")
    (tmp_path / "disk").mkdir()
    assert "disk" in told(capsys, "copies", "--to", tmp_path / "disk", "--data", data)[1]
    assert "data/copies" in told(capsys, "copies", "--to", "", "--data", data)[1]
    assert told(capsys, "copies", "--to", tmp_path / "no", "--data", data)[0] == 2


def test_check_says_what_it_found(data, capsys):
    status, out, _ = told(capsys, "check", "--data", data)
    assert status == 0
    assert "Checked: 1 log entries, 0 of 0 takes." in out
    assert "No problems found." in out
    assert (data / HEALTH).exists()


def test_a_repair_at_the_opening_is_told_where_the_person_looks(data, capsys):
    told(capsys, "copies", "--now", "--data", data)
    (data / "coldtake.db").write_bytes(b"this was never a database " * 400)
    status, out, err = told(capsys, "topics", "--data", data)
    assert status == 0
    assert "scales" in out
    assert "put together again" in err
    assert told(capsys, "topics", "--data", data)[2] == ""


def test_what_is_no_archive(data, tmp_path, capsys):
    (tmp_path / "x.zip").write_bytes(b"x")
    status, _, err = told(capsys, "restore", tmp_path / "x.zip", "--data", data)
    assert status == 2
    assert "not an export" in err
