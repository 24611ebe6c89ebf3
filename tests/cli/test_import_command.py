"""`coldtake import`: files and folders from the command line."""

import json

from coldtake.cli.entry import main

AIR = "X:1\nT:Air\nM:4/4\nL:1/4\nK:C\nCDEF|GFED|C4|\n"
BOOK = "X:1\nT:One\nK:C\nC|\n\nX:2\nT:Two\nK:H\nC|\n"


def test_a_folder_is_kept_and_faults_are_named(tmp_path, capsys):
    (tmp_path / "in" / "deep").mkdir(parents=True)
    (tmp_path / "in" / "air.abc").write_text(AIR)
    (tmp_path / "in" / "deep" / "book.abc").write_text(BOOK)
    (tmp_path / "in" / "notes.txt").write_text("not looked at")
    data = str(tmp_path / "data")
    assert main(["import", str(tmp_path / "in"), "--data", data]) == 0
    said = capsys.readouterr().out
    assert "Air: 3 bars\n" in said
    assert "One: 1 bar\n" in said
    assert "Not imported: Two: line 3, character 3: “H” is not a key." in said
    assert said.endswith("2 pieces of notation saved, 1 not readable.\n")
    assert main(["import", str(tmp_path / "in" / "air.abc"), "--data", data, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [k["known"] for k in told["kept"]] == [True]


def test_nothing_readable_is_bad_input(tmp_path, capsys):
    (tmp_path / "bad.mid").write_bytes(b"MThd")
    data = str(tmp_path / "data")
    assert main(["import", str(tmp_path / "bad.mid"), "--data", data]) == 2
    assert "cannot be read" in capsys.readouterr().out
    assert main(["import", str(tmp_path / "gone"), "--data", data]) == 2
    assert "file or folder was not found" in capsys.readouterr().err
