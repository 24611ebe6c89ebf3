"""Everything in one zip archive, in open formats, for the player to keep and take elsewhere.

    log.jsonl        the whole log, one event per line, in order of arrival (JSON Lines)
    refused.jsonl    what arrived and could not become an event
    topics.json      topics with their steps; plans.json, settings.json
    passages/        notation as it came in, and as MEI
    takes/           sound of the takes, FLAC
    tables/          CSV for a spreadsheet
    manifest.json    format, counts, and the SHA-256 of every file

The archive is written under a temporary name and renamed when it is whole, so that a crash, a full
disk or a cancel leaves nothing behind.
"""

import base64
import contextlib
import hashlib
import os
import re
import tempfile
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import msgspec

from coldtake.domain.events import to_json
from coldtake.domain.state import State
from coldtake.domain.topic import StoredPassage
from coldtake.errors import NotFoundError, PassageError, StoreError
from coldtake.ports import Progress
from coldtake.practice.services import Services
from coldtake.practice.tables import tables_of

FORMAT = 1
_EXTENSION = {"musicxml": "musicxml", "mei": "mei", "abc": "abc"}
_EPOCH = (1980, 1, 1, 0, 0, 0)  # zip cannot say less; equal content gives an equal archive


class Cancelled(Exception):  # noqa: N818 - it is no fault
    """The watcher asked to stop; nothing was left behind."""


@dataclass(frozen=True, slots=True)
class Exported:
    """What an archive holds. missing_takes : ids of takes whose sound was not there."""

    path: str
    events: int
    takes: int
    passages: int
    size_bytes: int
    missing_takes: tuple[str, ...] = ()


@dataclass(slots=True)
class _Writing:
    """An archive under way."""

    archive: zipfile.ZipFile
    sums: dict[str, str] = field(default_factory=dict)

    def put(self, name: str, data: bytes, *, pack: bool = True) -> None:
        entry = zipfile.ZipInfo(name, _EPOCH)
        entry.external_attr = 0o644 << 16
        method = zipfile.ZIP_DEFLATED if pack else zipfile.ZIP_STORED
        self.archive.writestr(entry, data, compress_type=method)
        self.sums[name] = hashlib.sha256(data).hexdigest()

    def put_json(self, name: str, record: Any) -> None:
        self.put(name, msgspec.json.format(msgspec.json.encode(record)))


def export(services: Services, path: Path, *, progress: Progress | None = None) -> Exported:
    """Write the archive to `path`, replacing a file of that name.

    Raises StoreError where it cannot be written, Cancelled when the watcher asks to stop.
    """
    try:
        with _whole_file(path) as part, zipfile.ZipFile(part, "w") as archive:
            counts = _write(services, _Writing(archive), progress)
        return Exported(path=str(path), size_bytes=path.stat().st_size, **counts)
    except OSError as fault:
        raise StoreError(
            f"The archive cannot be written: {(fault.strerror or str(fault)).lower()}.",
            where=str(path),
            remedy="Choose another place or free some space; nothing was left behind.",
        ) from fault


@contextlib.contextmanager
def _whole_file(path: Path) -> Iterator[Path]:
    """Give a temporary file that takes the name `path` only when all of the block succeeded."""
    handle, name = tempfile.mkstemp(suffix=".part", dir=path.parent)
    os.close(handle)
    part = Path(name)
    try:
        yield part
        with part.open("rb+") as whole:
            os.fsync(whole.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def _write(services: Services, writing: _Writing, progress: Progress | None) -> dict[str, Any]:
    state = services.state()
    total = len(state.takes) + len(state.passages) + 1
    events = _put_log(services, writing)
    _put_state(state, writing)
    _tell(progress, 1, total, "the log")
    for number, stored in enumerate(state.passages.values(), start=2):
        _put_passage(stored, writing)
        _tell(progress, number, total, stored.title)
    missing = []
    for number, take_id in enumerate(state.takes, start=2 + len(state.passages)):
        if not _put_take(services, take_id, writing):
            missing.append(take_id)
        _tell(progress, number, total, "takes")
    counts = {
        "events": events,
        "takes": len(state.takes) - len(missing),
        "passages": len(state.passages),
        "missing_takes": tuple(missing),
    }
    writing.put_json("manifest.json", {"format": FORMAT, **counts, "sha256": writing.sums})
    return counts


def _tell(progress: Progress | None, done: int, total: int, words: str) -> None:
    if progress is not None and not progress.step(done, total, words):
        raise Cancelled


def _put_log(services: Services, writing: _Writing) -> int:
    lines = [to_json(event) for _, event in services.store.events()]
    writing.put("log.jsonl", b"".join(line + b"\n" for line in lines))
    refused = [
        {"at": at, "why": why, "raw_base64": base64.b64encode(raw).decode()}
        for at, why, raw in services.store.refused()
    ]
    writing.put("refused.jsonl", b"".join(msgspec.json.encode(r) + b"\n" for r in refused))
    return len(lines)


def _put_state(state: State, writing: _Writing) -> None:
    topics = [
        {**msgspec.to_builtins(topic), "steps": state.topic_steps(topic.id)}
        for topic in state.topics.values()
    ]
    writing.put_json("topics.json", topics)
    writing.put_json("plans.json", [state.plans[day] for day in sorted(state.plans)])
    writing.put_json("settings.json", state.settings)
    for name, text in tables_of(state).items():
        writing.put(f"tables/{name}.csv", text.encode())


def _put_passage(stored: StoredPassage, writing: _Writing) -> None:
    words = re.sub(r"[^A-Za-z0-9]+", "-", stored.title).strip("-")[:40] or "passage"
    name = f"passages/{words}-{stored.id}"
    writing.put(f"{name}.{_EXTENSION[stored.format]}", stored.text.encode())
    if stored.format == "mei":
        return
    from coldtake.music.reading import read_passage

    with contextlib.suppress(PassageError):  # the text itself is there already
        writing.put(f"{name}.mei", read_passage(stored.text, stored.format).mei.encode())


def _put_take(services: Services, take_id: str, writing: _Writing) -> bool:
    try:
        sound = services.takes.sound(take_id).read_bytes()
    except (NotFoundError, FileNotFoundError):
        return False
    writing.put(f"takes/{take_id}.flac", sound, pack=False)
    return True
