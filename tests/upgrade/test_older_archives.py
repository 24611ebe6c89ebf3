"""Archives of every released format are restored by the code as it is."""

import json
import zipfile
from pathlib import Path

import pytest

from coldtake.bootstrap import open_services
from coldtake.domain import events as ev
from coldtake.domain.history.projection import fold
from coldtake.practice.archive import FORMAT, Archive, restore
from coldtake.practice.archive.contents import KNOWN_FORMATS
from making import SteppingClock

RELEASED = sorted((Path(__file__).parent / "released").glob("archive-*.zip"))


def test_every_known_format_has_its_archive():
    assert tuple(int(a.stem.removeprefix("archive-")) for a in RELEASED) == KNOWN_FORMATS
    assert KNOWN_FORMATS[-1] == FORMAT


@pytest.mark.parametrize("path", RELEASED, ids=lambda p: p.stem)
def test_a_released_archive_is_restored_event_by_event(path, tmp_path):
    with zipfile.ZipFile(path) as plain:
        written = [ev.from_json(line) for line in plain.read("log.jsonl").splitlines()]
        manifest = json.loads(plain.read("manifest.json"))
        sounds = {n: plain.read(n) for n in plain.namelist() if n.startswith("takes/")}
        refused = len(plain.read("refused.jsonl").splitlines())
    services = open_services(tmp_path, clock=SteppingClock())
    with Archive(path) as archive:
        told = restore(services, archive)
    assert [event for _, event in services.store.events()] == written
    assert services.state() == fold(written)
    assert len(services.store.refused()) == refused == 1
    assert told.events == manifest["events"]
    assert sounds
    for name, sound in sounds.items():
        assert services.takes.sound(Path(name).stem).read_bytes() == sound
    services.close()
