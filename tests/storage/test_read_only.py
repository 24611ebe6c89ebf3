"""A data folder that cannot be written is looked at, checked and exported, and saves nothing."""

import io
import json
import shutil
import warnings

import numpy as np
import pytest
import soundfile

from coldtake.bootstrap import make_app, open_services
from coldtake.cli import main
from coldtake.domain.criterion import default_criterion
from coldtake.domain.take import NewTake
from coldtake.domain.topic import Exercise, PassageRef, Place, Step
from coldtake.errors import StoreError
from coldtake.practice.archive import Archive, restore
from unwritable import unwritable

AIR = b"X:1\nT:Air\nM:4/4\nL:1/4\nQ:1/4=96\nK:C\nCDEF|GFED|C4|\n"
NOTICE = "The data folder cannot be written, so nothing is saved."


def tone() -> bytes:
    out = io.BytesIO()
    soundfile.write(out, np.sin(np.arange(8000) / 9) / 3, 8000, format="WAV")
    return out.getvalue()


@pytest.fixture(scope="module")
def lived_in(tmp_path_factory):
    """A folder as a killed server leaves it: what was played last stands in the -wal only."""
    folder, left = tmp_path_factory.mktemp("lived"), tmp_path_factory.mktemp("left") / "data"
    services = open_services(folder / "data")
    topic = services.pile.add("Air", place=Place.CURRENT)
    stored = services.pile.keep_passage(AIR, "air.abc")
    step = Step(
        id=services.log.new_id(),
        topic_id=topic.id,
        title="Bars 1 to 3",
        criterion=default_criterion(),
        exercise=Exercise(passage=PassageRef(passage_id=stored.id), tempo_bpm=96),
    )
    services.pile.keep_step(step)
    services.plans.propose(services.plans.default_request(services.today()))
    services.takes.keep(tone(), NewTake(step_id=step.id))
    shutil.copytree(folder / "data", left)
    services.close()
    return left


@pytest.fixture
def data(lived_in, tmp_path):
    shutil.copytree(lived_in, tmp_path / "data")
    with unwritable(tmp_path / "data"):
        yield tmp_path / "data"


def content(folder):
    return {p.relative_to(folder): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def told(capsys, *words):
    status = main([str(w) for w in words])
    said = capsys.readouterr()
    return status, said.out, said.err


def test_commands_that_look(data, tmp_path, capsys):
    before = content(data)
    status, out, err = told(capsys, "check", "--data", data)
    assert (status, "No problems found." in out, NOTICE in err) == (0, True, True)
    assert "1 of 1 takes" in out
    assert "Air" in told(capsys, "topics", "--data", data)[1]
    assert told(capsys, "outlook", "--data", data)[0] == 0
    status, out, _ = told(capsys, "export", tmp_path / "all.zip", "--json", "--data", data)
    assert (status, json.loads(out)["takes"]) == (0, 1)
    assert content(data) == before


def test_what_is_exported_is_all_of_it(data, tmp_path, capsys):
    told(capsys, "export", tmp_path / "all.zip", "--data", data)
    other = open_services(tmp_path / "other")
    with Archive(tmp_path / "all.zip") as source:
        restore(other, source)
    looked_at = open_services(data)
    assert [e for _, e in other.store.events()] == [e for _, e in looked_at.store.events()]
    assert len(other.state().takes) == 1
    other.close()
    looked_at.close()


def test_commands_that_save_say_why_not(data, capsys):
    before = content(data)
    status, _, err = told(capsys, "plan", "--minutes", "30", "--data", data)
    assert (status, NOTICE in err) == (4, True)
    assert content(data) == before


def test_the_pages_open_and_say_it(data):
    with warnings.catch_warnings():  # the test client asks for httpx2; httpx serves it as well
        warnings.simplefilter("ignore")
        from starlette.testclient import TestClient

    before, services = content(data), open_services(data)
    take = next(iter(services.state().takes))
    step = next(iter(services.state().steps.values()))
    with TestClient(make_app(services, data=data), base_url="http://localhost") as client:
        pages = ("/", "/outlook", "/progress", "/tomorrow", "/data", "/settings", "/session",
                 f"/steps/{step.id}", f"/topics/{step.topic_id}", f"/takes/{take}", "/performances",
                 f"/takes/{take}/sound", "/print", "/what-if", "/triage")  # fmt: skip
        answers = {page: client.get(page) for page in pages}
        assert {page: a.status_code for page, a in answers.items()} == dict.fromkeys(pages, 200)
        assert NOTICE in answers["/"].text
        refused = client.post("/topics", data={"title": "Another"})
        assert (refused.status_code, NOTICE in refused.text) == (503, True)
        assert client.put(f"/api/takes/{take}?step_id={step.id}", content=tone()).status_code == 503
        assert client.post("/api/events", content=b"[]").status_code == 503
    services.close()
    assert content(data) == before


def test_the_copy_that_was_looked_at_goes(data, monkeypatch, tmp_path):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "temporary"))
    (tmp_path / "temporary").mkdir()
    services = open_services(data)
    [snapshot] = (tmp_path / "temporary").iterdir()
    assert (snapshot / "coldtake.db").stat().st_mode & 0o077 == 0
    with pytest.raises(StoreError, match="cannot be written"):
        services.pile.add("Another")
    services.close()
    assert list((tmp_path / "temporary").iterdir()) == []


def test_damage_is_said_and_left(lived_in, tmp_path, capsys):
    folder = tmp_path / "data"
    shutil.copytree(lived_in, folder)
    open_services(folder).close()  # all into one file
    database = folder / "coldtake.db"
    damaged = bytearray(database.read_bytes())
    at = damaged.index(b"Bars 1 to 3")
    damaged[at] ^= 1
    database.write_bytes(damaged)
    before = content(folder)
    with unwritable(folder):
        status, out, _ = told(capsys, "check", "--data", folder)
    assert status == 1
    assert "could be put right for this look only" in out
    assert content(folder) == before
