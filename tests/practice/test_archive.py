"""The archive: everything in open formats, whole or not there."""

import csv
import hashlib
import io
import json
import zipfile
from pathlib import Path

import msgspec
import numpy as np
import pytest
import soundfile

from coldtake.domain import events as ev
from coldtake.domain.history.projection import fold
from coldtake.domain.plan import Plan
from coldtake.domain.take import NewTake
from coldtake.domain.topic import Topic
from coldtake.errors import StoreError
from coldtake.ports import Cancelled
from coldtake.practice.archive import export
from making import NOON, event, plan, slot, step

NASTY = '=HYPERLINK("http://x","y")'


@pytest.fixture
def full(services, air):
    """A pile with an awkward title, a passage, a plan, a take and something refused."""
    topic = services.pile.add(NASTY, notes="+1\n-2")
    stored = services.pile.keep_passage(air, "air.abc", title="../Air / für alle")
    made = services.pile.keep_step(msgspec.structs.replace(step("@home"), topic_id=topic.id))
    services.append(ev.PlanKept(plan=plan((slot(made),))))
    wav = io.BytesIO()
    tone = np.sin(np.arange(22050) / 10).astype("float32")
    soundfile.write(wav, tone, 22050, format="WAV")
    services.takes.keep(wav.getvalue(), NewTake(step_id=made.id))
    services.sessions.record([b"{cut off", ev.to_json(event(ev.AnswerTakenBack(try_id="t")))])
    return services, stored


def archived(services, tmp_path) -> zipfile.ZipFile:
    export(services, tmp_path / "all.zip")
    return zipfile.ZipFile(tmp_path / "all.zip")


def test_the_log_in_it_gives_the_same_state(full, tmp_path):
    services, _ = full
    with archived(services, tmp_path) as archive:
        lines = archive.read("log.jsonl").splitlines()
    events = [ev.from_json(line) for line in lines]
    assert events == [e for _, e in services.store.events()]
    assert fold(events) == services.state()


def test_every_file_is_listed_with_its_checksum(full, tmp_path):
    services, _ = full
    with archived(services, tmp_path) as archive:
        manifest = json.loads(archive.read("manifest.json"))
        sums = {
            n: hashlib.sha256(archive.read(n)).hexdigest()
            for n in archive.namelist()
            if n != "manifest.json"
        }
    assert manifest["sha256"] == sums
    assert (manifest["format"], manifest["takes"], manifest["passages"]) == (2, 1, 1)


def test_topics_and_plans_read_back_as_records(full, tmp_path):
    services, _ = full
    with archived(services, tmp_path) as archive:
        topics = json.loads(archive.read("topics.json"))
        plans = msgspec.json.decode(archive.read("plans.json"), type=list[Plan])
    assert [s["title"] for s in topics[0].pop("steps")] == ["@home"]
    assert [msgspec.convert(t, Topic) for t in topics] == list(services.state().topics.values())
    assert plans == list(services.state().plans.values())


def test_passages_and_takes_are_files_that_others_can_read(full, tmp_path):
    services, stored = full
    with archived(services, tmp_path) as archive:
        names = archive.namelist()
        [abc] = [n for n in names if n.endswith(".abc")]
        [mei] = [n for n in names if n.endswith(".mei")]
        [flac] = [n for n in names if n.endswith(".flac")]
        assert archive.read(abc).decode() == stored.text
        assert b"<mei" in archive.read(mei)
        sound, rate = soundfile.read(io.BytesIO(archive.read(flac)))
    assert (len(sound), rate) == (22050, 22050)
    assert all(".." not in n and "//" not in n and not n.startswith("/") for n in names)


def test_what_was_refused_is_in_it_too(full, tmp_path):
    services, _ = full
    with archived(services, tmp_path) as archive:
        [line] = archive.read("refused.jsonl").splitlines()
    assert json.loads(line)["raw_base64"] == "e2N1dCBvZmY="


def test_no_cell_is_a_formula(full, tmp_path):
    """OWASP, "CSV Injection": cells beginning with = + - @ tab or return."""
    services, _ = full
    with archived(services, tmp_path) as archive:
        tables = {
            n: list(csv.reader(io.StringIO(archive.read(n).decode())))
            for n in archive.namelist()
            if n.startswith("tables/")
        }
    assert set(tables) == {
        f"tables/{n}.csv"
        for n in ("topics", "steps", "tries", "takes", "sessions", "work", "performances", "runs")
    }
    cells = [c for rows in tables.values() for row in rows for c in row]
    assert not [c for c in cells if c.startswith(("=", "+", "-", "@", "\t", "\r"))]
    names, row = tables["tables/topics.csv"]
    assert dict(zip(names, row, strict=True))["title"] == f"'{NASTY}"
    assert all(len(r) == len(rows[0]) for rows in tables.values() for r in rows)


def test_equal_states_give_equal_archives(full, tmp_path):
    services, _ = full
    export(services, tmp_path / "one.zip")
    export(services, tmp_path / "two.zip")
    assert (tmp_path / "one.zip").read_bytes() == (tmp_path / "two.zip").read_bytes()


def test_a_lost_sound_is_named_and_the_rest_is_kept(full, tmp_path):
    services, _ = full
    [take_id] = services.state().takes
    services.takes.sound(take_id).unlink()
    written = export(services, tmp_path / "all.zip")
    assert (written.takes, written.missing_takes) == (0, (take_id,))


class Watcher:
    def __init__(self, stop_at: int = 0) -> None:
        self.seen: list[tuple[int, int]] = []
        self.words: list[str] = []
        self.stop_at = stop_at

    def step(self, done: int, total: int, words: str) -> bool:
        self.seen.append((done, total))
        self.words.append(words)
        return done != self.stop_at


def test_progress_goes_to_its_end(full, tmp_path):
    watcher = Watcher()
    export(full[0], tmp_path / "all.zip", progress=watcher)
    assert watcher.seen == [(1, 3), (2, 3), (3, 3)]
    assert all(watcher.words)


def test_a_cancel_leaves_nothing_and_an_older_archive_stays(full, tmp_path):
    target = tmp_path / "out" / "all.zip"
    target.parent.mkdir()
    target.write_bytes(b"the older one")
    with pytest.raises(Cancelled):
        export(full[0], target, progress=Watcher(stop_at=2))
    assert target.read_bytes() == b"the older one"
    assert list(target.parent.iterdir()) == [target]


class Spoiler:
    """Turns one bit of the growing file, once the work says how far it is."""

    def __init__(self, part: Path, at: int) -> None:
        self.part, self.at, self.done = part, at, False

    def step(self, _done: int, _total: int, _words: str) -> bool:
        if not self.done:
            with self.part.open("r+b") as file:
                file.seek(self.at)
                turned = bytes([file.read(1)[0] ^ 4])
                file.seek(self.at)
                file.write(turned)
        self.done = True
        return True


@pytest.mark.parametrize("older", [True, False])
def test_what_cannot_be_read_back_is_not_called_done(full, tmp_path, older):
    """A disk that changes what was written: the check comes before the name is given."""
    target = tmp_path / "all.zip"
    if older:
        target.write_bytes(b"the older one")
    with pytest.raises(StoreError, match="could not be read back") as told:
        export(full[0], target, progress=Spoiler(tmp_path / "all.zip.part", 1000))
    assert told.value.where == "all.zip"
    assert [p.read_bytes() for p in tmp_path.glob("all.zip*")] == [b"the older one"] * older


def test_what_the_reader_would_refuse_is_refused_when_it_is_written(full, tmp_path):
    odd = msgspec.structs.replace(event(ev.AnswerTakenBack(try_id="t")), id="no uuid")
    full[0].store.append([odd])
    with pytest.raises(StoreError, match=r"could not be read back.+unfit id"):
        export(full[0], tmp_path / "all.zip")
    assert not list(tmp_path.glob("*.zip*"))


def test_a_place_that_is_not_there(full, tmp_path):
    with pytest.raises(StoreError, match="cannot be written") as told:
        export(full[0], tmp_path / "no" / "all.zip")
    assert told.value.remedy


def test_an_empty_log_has_an_archive_too(services, tmp_path):
    written = export(services, tmp_path / "all.zip")
    assert (written.events, written.takes, written.passages) == (0, 0, 0)
    assert services.now() == NOON
