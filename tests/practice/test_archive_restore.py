"""An archive back into another folder: identical, atomic, and nothing believed unseen."""

import hashlib
import io
import json
import random
import zipfile
from datetime import timedelta
from pathlib import Path

import jsonschema_rs
import msgspec
import numpy as np
import pytest
import soundfile

from coldtake.domain import events as ev
from coldtake.domain.ids import named_id
from coldtake.domain.take import NewTake
from coldtake.errors import ColdtakeError, InputError, RuleError
from coldtake.ports import Cancelled
from coldtake.practice.archive import Archive, export, reading, restore
from coldtake.practice.archive.contents import log_schema
from coldtake.practice.services import House
from coldtake.settings import SETTINGS
from coldtake.storage.database.log import SqlStore
from coldtake.storage.folder import sqlite_url
from coldtake.storage.takes import FolderTakes
from making import NOON, SteppingClock, event, step

ROOT = Path(__file__).parents[2]
SEED = 20270114
MAKE_AGAIN = "events have changed; write docs/log.schema.json again: see docs/data.md"
AIR = b"X:1\nT:Air\nM:4/4\nL:1/4\nQ:1/4=96\nK:C\nCDEF|GFED|C4|\n"


def wav(tone: float) -> bytes:
    sound = io.BytesIO()
    soundfile.write(sound, np.sin(np.arange(4000) / tone), 8000, format="WAV")
    return sound.getvalue()


def opened(folder: Path) -> House:
    folder.mkdir(exist_ok=True)
    store, later = SqlStore(sqlite_url(folder)), timedelta(seconds=sum(folder.name.encode()))
    return House(store, FolderTakes(folder / "takes"), SteppingClock(NOON + later))


@pytest.fixture(scope="module")
def full(tmp_path_factory):
    """A pile with a passage, three takes and something refused. Only read it."""
    services = opened(tmp_path_factory.mktemp("full"))
    topic = services.pile.add("Air ♩")
    services.pile.keep_passage(AIR, "air.abc", title="Air")
    made = services.pile.keep_step(msgspec.structs.replace(step("slow"), topic_id=topic.id))
    for tone in (10, 11, 12):
        services.takes.keep(wav(tone), NewTake(step_id=made.id))
    services.sessions.record([b"{cut off", ev.to_json(event(ev.AnswerTakenBack(try_id="t")))])
    yield services
    services.close()


@pytest.fixture(scope="module")
def zipped(full, tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("zipped") / "all.zip"
    export(full, path)
    return path


@pytest.fixture
def open_empty(tmp_path):
    """Open an empty folder of that name, as on another machine."""
    started = []

    def open_one(name: str = "other") -> House:
        started.append(opened(tmp_path / name))
        return started[-1]

    yield open_one
    for services in started:
        services.close()


@pytest.fixture
def mine(open_empty, zipped) -> House:
    """The same pile in a folder that may be changed."""
    services = open_empty("mine")
    brought(services, zipped)
    return services


def brought(services: House, path: Path, **options):
    with Archive(path) as archive:
        return restore(services, archive, **options)


def events_of(services: House) -> list[ev.Event]:
    return [one for _, one in services.store.events()]


def sounds_of(services: House) -> dict[str, bytes]:
    takes = services.state().takes
    return {take_id: services.takes.sound(take_id).read_bytes() for take_id in takes}


def same(one: House, other: House) -> bool:
    assert events_of(one) == events_of(other)
    assert one.state() == other.state()
    assert sounds_of(one) == sounds_of(other)
    assert list(one.store.refused()) == list(other.store.refused())
    return True


def test_restored_is_identical_event_by_event_and_take_by_take(full, zipped, open_empty, tmp_path):
    other = open_empty()
    told = brought(other, zipped)
    assert (told.events, told.known, told.takes) == (len(events_of(full)), 0, 3)
    assert same(full, other)
    export(other, tmp_path / "again.zip")
    assert (tmp_path / "again.zip").read_bytes() == zipped.read_bytes()


def test_restoring_twice_changes_nothing(full, zipped, mine):
    told = brought(mine, zipped)
    assert (told.events, told.known, told.takes) == (0, len(events_of(full)), 0)
    assert same(full, mine)


def test_an_older_archive_of_the_same_log_asks_for_merging(zipped, mine):
    mine.pile.add("newer than the archive")
    with pytest.raises(RuleError, match="1 entries that the export does not have") as told:
        brought(mine, zipped)
    assert told.value.remedy
    assert brought(mine, zipped, merge=True).events == 0


def test_two_logs_come_together_on_request(full, zipped, open_empty):
    other = open_empty()
    other.pile.add("my own")
    own = events_of(other)
    with pytest.raises(RuleError):
        brought(other, zipped)
    assert events_of(other) == own
    brought(other, zipped, merge=True)
    assert {e.id for e in events_of(other)} == {e.id for e in [*own, *events_of(full)]}


def test_one_id_with_two_meanings_is_a_conflict_and_changes_nothing(full, zipped, open_empty):
    other, first = open_empty(), events_of(full)[0]
    changed = ev.Event(
        id=first.id, at=first.at, day=first.day, data=ev.AnswerTakenBack(try_id="another")
    )
    other.store.append([changed])
    with pytest.raises(RuleError, match="has two different contents"):
        brought(other, zipped, merge=True)
    assert events_of(other) == [changed]
    assert other.take_files.there() == frozenset()


def written_by_hand(tmp_path, *events: ev.Event) -> Path:
    """An archive of these lines, whoever wrote them."""
    lines = b"".join(ev.to_json(one) + b"\n" for one in events)
    sums = {"log.jsonl": hashlib.sha256(lines).hexdigest()}
    manifest = {"format": 2, "events": len(events), "takes": 0, "passages": 0, "sha256": sums}
    with zipfile.ZipFile(tmp_path / "by hand.zip", "w") as made:
        made.writestr("log.jsonl", lines)
        made.writestr("manifest.json", json.dumps(manifest))
    return tmp_path / "by hand.zip"


def test_two_meanings_inside_an_archive_are_named_and_nothing_is_chosen(open_empty, tmp_path):
    one, two = (event(ev.AnswerTakenBack(try_id=n), name="x") for n in ("one", "two"))
    again = ev.Event(id=one.id, at=one.at, day=one.day, data=two.data)
    other = open_empty()
    with pytest.raises(RuleError, match=one.id):
        brought(other, written_by_hand(tmp_path, one, two, again))
    assert events_of(other) == []
    assert brought(other, written_by_hand(tmp_path, one, two, one)).events == 2


def recorded(name: str, sha256: str) -> ev.Event:
    data = ev.TakeRecorded(
        take_id=named_id(name), step_id="s", duration_s=1, sample_rate=8000, sha256=sha256
    )
    return event(data, name=sha256)


def test_a_take_with_two_sounds_is_a_conflict_here_or_there(open_empty, tmp_path):
    one, two = recorded("take", "0" * 64), recorded("take", "1" * 64)
    with pytest.raises(RuleError, match=f"take {named_id('take')}"):
        brought(open_empty(), written_by_hand(tmp_path, one, two))
    other = open_empty("second")
    other.store.append([one])
    with pytest.raises(RuleError, match=f"take {named_id('take')}"):
        brought(other, written_by_hand(tmp_path, two), merge=True)
    assert events_of(other) == [one]


def test_all_that_conflicts_is_counted(open_empty, tmp_path):
    here = [event(ev.AnswerTakenBack(try_id=str(n))) for n in range(9)]
    there = [ev.Event(id=e.id, at=e.at, day=e.day, data=here[0].data) for e in here]
    other = open_empty()
    other.store.append(here)
    with pytest.raises(RuleError, match="and 3 more"):
        brought(other, written_by_hand(tmp_path, *there), merge=True)


def test_settings_that_are_not_valid_lock_nothing_and_are_named(open_empty, tmp_path):
    chosen = {"a4_hz": "4400", "period_cap": "a lot", "slot_least": "30", "slot_most": "2"}
    events = [event(ev.SettingChosen(name=n, value=v)) for n, v in chosen.items()]
    other = open_empty()
    told = brought(other, written_by_hand(tmp_path, *events))
    assert set(told.not_valid) == set(chosen)
    assert other.settings.all() == {s.name: s.default for s in SETTINGS}
    assert len(events_of(other)) == len(events)  # what was chosen stays in the log


class StopsAfter:
    def __init__(self, steps: int) -> None:
        self.left = steps

    def step(self, _done: int, _total: int, _words: str) -> bool:
        self.left -= 1
        return self.left > 0


@pytest.mark.parametrize("steps", range(1, 4))
def test_a_cancelled_restore_leaves_nothing(full, zipped, open_empty, steps):
    other = open_empty()
    with pytest.raises(Cancelled):
        brought(other, zipped, progress=StopsAfter(steps))
    assert events_of(other) == []
    assert other.take_files.there() == frozenset()
    brought(other, zipped)
    assert same(full, other)


def test_a_restore_brings_missing_and_damaged_takes_back(zipped, mine):
    before = sounds_of(mine)
    gone, hurt, _ = before
    mine.takes.sound(gone).unlink()
    mine.takes.sound(hurt).write_bytes(b"fLaC")
    assert brought(mine, zipped).takes == 2
    assert sounds_of(mine) == before


def test_a_take_damaged_before_it_was_archived_is_named_and_the_rest_restored(
    mine, open_empty, tmp_path
):
    [hurt, *_] = mine.state().takes
    good = mine.takes.sound(hurt).read_bytes()
    mine.takes.sound(hurt).write_bytes(good[:-1] + bytes([good[-1] ^ 1]))
    assert export(mine, tmp_path / "all.zip").damaged_takes == (hurt,)
    other = open_empty()
    told = brought(other, tmp_path / "all.zip")
    assert (told.damaged_takes, told.takes) == ((hurt,), 2)
    assert events_of(other) == events_of(mine)


def test_the_published_schema_is_the_code_s_own():
    published = json.loads((ROOT / "docs" / "log.schema.json").read_text(encoding="utf-8"))
    assert published == json.loads(json.dumps(log_schema())), MAKE_AGAIN


def test_every_line_of_the_log_fits_the_schema_in_the_archive(zipped):
    """Judged by another implementation of JSON Schema, draft 2020-12 (jsonschema-rs)."""
    with zipfile.ZipFile(zipped) as archive:
        schema = json.loads(archive.read("log.schema.json"))
        lines = [json.loads(line) for line in archive.read("log.jsonl").splitlines()]
    validator = jsonschema_rs.Draft202012Validator(schema)
    assert [fault.message for line in lines for fault in validator.iter_errors(line)] == []
    assert not validator.is_valid(lines[0] | {"at": 5})
    assert not validator.is_valid({**lines[0], "data": {"kind": "no_such_thing"}})


# What comes from anywhere.


def rewritten(source: Path, target: Path, change) -> Path:
    """Write an archive again with some of its files changed: name -> bytes, None to leave out."""
    with zipfile.ZipFile(source) as old:
        files = {name: old.read(name) for name in old.namelist()}
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
        for name, data in change(files).items():
            new.writestr(name, data)
    return target


def with_log(lines: bytes):
    def change(files):
        import hashlib

        manifest = json.loads(files["manifest.json"])
        manifest["sha256"]["log.jsonl"] = hashlib.sha256(lines).hexdigest()
        return {**files, "log.jsonl": lines, "manifest.json": json.dumps(manifest).encode()}

    return change


UNFIT = {
    "outside": lambda f: {**f, "../../evil.txt": b"x"},
    "absolute": lambda f: {**f, "/etc/evil": b"x"},
    "backslash": lambda f: {**f, "takes\\..\\evil.flac": b"x"},
    "no manifest": lambda f: {n: d for n, d in f.items() if n != "manifest.json"},
    "no log": lambda f: {n: d for n, d in f.items() if n != "log.jsonl"},
    "newer": lambda f: {**f, "manifest.json": b'{"format": 99}'},
    "manifest is a list": lambda f: {**f, "manifest.json": b"[]"},
    "deep": lambda f: {**f, "manifest.json": b"[" * 100_000},
    "another log": lambda f: {**f, "log.jsonl": f["log.jsonl"][: len(f["log.jsonl"]) // 2]},
    "empty lines": with_log(b"\n" * 5_000_000),
    "no event": with_log(b'{"id": 1}\n'),
    "deep event": with_log(b'{"data":' + b"[" * 200_000 + b"\n"),
    "no text": with_log(b"\xff\xfe\n"),
    "one endless line": with_log(b"x" * (3 << 20)),
    "naive instant": with_log(
        b'{"id":"00000000-0000-0000-0000-000000000000","at":"2027-01-01T00:00:00",'
        b'"day":"2027-01-01","data":{"kind":"answer_taken_back","try_id":"t"}}\n'
    ),
    "fewer events than promised": with_log(b""),
}


@pytest.mark.parametrize("name", UNFIT)
def test_an_unfit_archive_is_refused_in_plain_words_and_changes_nothing(
    zipped, open_empty, tmp_path, monkeypatch, name
):
    monkeypatch.setattr(reading, "LINE_MOST", 1 << 20)
    bad = rewritten(zipped, tmp_path / "bad.zip", UNFIT[name])
    other = open_empty()
    with pytest.raises(InputError) as told:
        brought(other, bad)
    assert told.value.remedy
    assert events_of(other) == []
    assert other.take_files.there() == frozenset()
    assert not list(tmp_path.rglob("evil*"))


@pytest.mark.parametrize("number", range(40))
def test_turned_bits_and_cuts_in_an_archive_are_seen(full, zipped, open_empty, tmp_path, number):
    """Either all comes back as it was, or it is refused; a damaged take is named."""
    chance = random.Random(f"{SEED} {number}")
    data = bytearray(zipped.read_bytes())
    if number % 4:
        data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
    else:
        del data[chance.randrange(len(data)) :]
    (tmp_path / "bad.zip").write_bytes(data)
    other = open_empty()
    try:
        told = brought(other, tmp_path / "bad.zip")
    except ColdtakeError:
        assert events_of(other) == []
        return
    assert events_of(other) == events_of(full)
    lost = {*told.missing_takes, *told.damaged_takes}
    assert {t: s for t, s in sounds_of(full).items() if t not in lost} == {
        t: other.takes.sound(t).read_bytes() for t in other.state().takes if t not in lost
    }


def test_what_is_no_archive(tmp_path):
    (tmp_path / "x.zip").write_bytes(b"PK\x05\x06" + bytes(5))
    for path in (tmp_path / "x.zip", tmp_path / "none.zip", tmp_path):
        with pytest.raises(InputError) as told:
            Archive(path)
        assert told.value.remedy


def test_a_bomb_is_not_unpacked(full, zipped, open_empty, tmp_path, monkeypatch):
    """More zeros than any take has, in a few kilobytes: told as it is, and hidden by its head."""
    [take_id, *_] = full.state().takes
    name, size = f"takes/{take_id}.flac", 8 << 20
    monkeypatch.setattr(reading, "TAKE_MOST", 1 << 20)
    honest = rewritten(zipped, tmp_path / "1.zip", lambda files: {**files, name: bytes(size)})
    lying = honest.read_bytes().replace(size.to_bytes(4, "little"), (500).to_bytes(4, "little"))
    (tmp_path / "2.zip").write_bytes(lying)
    for number, path in enumerate((honest, tmp_path / "2.zip")):
        told = brought(open_empty(f"other {number}"), path)
        assert told.missing_takes == (take_id,)
