"""What others wrote stands unchanged, with its licence, and nothing stands there unnamed."""

import hashlib
import re
from pathlib import Path

import pytest

from coldtake.web.rendering import STATIC

VENDOR = STATIC / "vendor"
ROW = re.compile(r"^\| (\S+) \| ([\d.]+) \| (\S+) \| (\S+) \| ([0-9a-f]{64}) \|$", re.MULTILINE)
ROWS = ROW.findall((VENDOR / "VENDORED.md").read_text(encoding="utf-8"))


@pytest.mark.parametrize("row", ROWS, ids=[r[3] for r in ROWS])
def test_file_is_as_it_came(row):
    _package, _version, _licence, file, sha256 = row
    assert hashlib.sha256((VENDOR / file).read_bytes()).hexdigest() == sha256


def test_nothing_stands_there_unnamed():
    there = {p.relative_to(VENDOR).as_posix() for p in VENDOR.rglob("*") if p.is_file()}
    assert there - {"VENDORED.md"} == {row[3] for row in ROWS}


def test_every_folder_has_its_licence():
    folders = [p for p in VENDOR.iterdir() if p.is_dir()]
    assert folders
    assert [p.name for p in folders if not (p / "LICENSE").exists()] == []


def test_no_font_or_script_comes_from_outside():
    outside = re.compile(r"""(?:src|href|url|import)\s*[=(]?\s*["'(]?https?://""")
    ours = [p for p in Path(STATIC).rglob("*.*") if VENDOR not in p.parents]
    texts = {p: p.read_text(encoding="utf-8") for p in ours if p.suffix in (".css", ".js", ".html")}
    assert [p.name for p, text in texts.items() if outside.search(text)] == []
