"""Writing an archive: under a temporary name, renamed when it was read back and is on the disk.

A crash, a full disk, a cancel or a fault in it leaves the older archive of that name as it was.
"""

import base64
import contextlib
import hashlib
import zipfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import msgspec

from coldtake import __version__
from coldtake.domain.events import to_json
from coldtake.domain.history.misdated import kept_file_in
from coldtake.domain.history.state import State
from coldtake.domain.plan import Plan
from coldtake.durable import flush_file, flush_folder, private_file
from coldtake.errors import NotFoundError, StoreError
from coldtake.ports import Cancelled, Progress
from coldtake.practice.archive import contents
from coldtake.practice.archive.contents import Exported, Kept, Manifest, NotWritten
from coldtake.practice.archive.notation import forms_of
from coldtake.practice.archive.tables import tables_of
from coldtake.practice.archive.verifying import verify

_EPOCH = (1980, 1, 1, 0, 0, 0)  # zip cannot say less; equal content gives an equal archive
_CHUNK = 1 << 20
_TOLD_EVERY = 2000  # events


@dataclass(slots=True)
class _Writing:
    """An archive under way."""

    archive: zipfile.ZipFile
    progress: Progress | None
    total: int = 1
    done: int = 0
    sums: dict[str, str] = field(default_factory=dict)

    def put(self, name: str, data: bytes) -> None:
        self.stream(name, [data])

    def put_json(self, name: str, record: Any) -> None:
        self.put(name, msgspec.json.format(msgspec.json.encode(record)))

    def stream(self, name: str, parts: Iterable[bytes], *, pack: bool = True) -> None:
        """Write a file part by part, so that no memory holds all of it."""
        entry = zipfile.ZipInfo(name, _EPOCH)
        entry.external_attr = 0o644 << 16
        entry.compress_type = zipfile.ZIP_DEFLATED if pack else zipfile.ZIP_STORED
        digest = hashlib.sha256()
        with self.archive.open(entry, "w", force_zip64=True) as file:
            for part in parts:
                file.write(part)
                digest.update(part)
        self.sums[name] = digest.hexdigest()

    def tell(self, words: str, *, more: int = 0) -> None:
        """Say how far it is. Raises Cancelled when the watcher asks to stop."""
        self.done += more
        if self.progress is not None and not self.progress.step(self.done, self.total, words):
            raise Cancelled


def export(kept: Kept, path: Path, *, progress: Progress | None = None) -> Exported:
    """Write the archive to `path`, replacing a file of that name.

    Raises StoreError where it cannot be written or read back, Cancelled when the watcher asks to
    stop; then nothing is left behind, and a file that was there stays.
    """
    try:
        with _whole_file(path) as part:
            with part.open("wb") as file, zipfile.ZipFile(file, "w") as archive:
                manifest = _write(kept, _Writing(archive, progress))
            verify(part, manifest, path.name, progress)
        size = path.stat().st_size
    except OSError as fault:
        raise StoreError(
            f"The export cannot be written: {(fault.strerror or str(fault)).lower()}.",
            where=str(path),
            remedy="Choose another place or free some space.",
        ) from fault
    return Exported(
        path=str(path),
        events=manifest.events,
        takes=manifest.takes,
        passages=manifest.passages,
        size_bytes=size,
        missing_takes=manifest.missing_takes,
        damaged_takes=manifest.damaged_takes,
        not_written=manifest.not_written,
    )


@contextlib.contextmanager
def _whole_file(path: Path) -> Iterator[Path]:
    """Give a file to write that takes the name `path` only when all of the block succeeded.

    Its name while it grows is always the same, so that a killed one is written over by the next.
    """
    part = path.with_name(f"{path.name}.part")
    try:
        part.unlink(missing_ok=True)
        yield private_file(part)
        flush_file(part)
        part.replace(path)
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
    flush_folder(path.parent)


def _write(kept: Kept, writing: _Writing) -> Manifest:
    with kept.log.deciding() as state:  # state and log of one moment
        newest = kept.log.store.last_sequence()
    writing.total = len(state.takes) + len(state.page_files) + len(state.passages) + 1
    writing.put("README.txt", contents.README.encode())
    events, sums = _put_log(kept, newest, writing)
    _put_state(state, writing)
    writing.tell("the log", more=1)
    not_written = _put_passages(state, writing)
    missing, damaged = _put_takes(kept, sums, writing)
    there, paper = sums.keys() - set(missing), {file_id.lower() for file_id in state.page_files}
    manifest = Manifest(
        format=contents.FORMAT,
        made_by=f"coldtake {__version__}",
        events=events,
        takes=len(there - paper),
        page_files=len(there & paper),
        passages=len(state.passages),
        missing_takes=tuple(missing),
        damaged_takes=tuple(damaged),
        not_written=tuple(not_written),
        sha256=dict(writing.sums),
    )
    writing.put_json(contents.MANIFEST, manifest)
    return manifest


def _put_log(kept: Kept, newest: int, writing: _Writing) -> tuple[int, dict[str, str]]:
    """Write the log up to an event; return how many there are, and the files' checksums by id."""
    count, sums = 0, {}

    def lines() -> Iterator[bytes]:
        nonlocal count
        for sequence, event in kept.log.store.events():
            if sequence > newest:
                return
            count += 1
            if count % _TOLD_EVERY == 0:
                writing.tell("the log")
            file = kept_file_in(event.data)
            if file is not None:
                sums[file[0]] = file[1]
            yield to_json(event) + b"\n"

    writing.stream(contents.LOG, lines())
    writing.put_json(contents.SCHEMA, contents.log_schema())
    refused = (
        {"at": at, "why": why, "raw_base64": base64.b64encode(raw).decode()}
        for at, why, raw in kept.log.store.refused()
    )
    writing.stream(contents.REFUSED, (msgspec.json.encode(r) + b"\n" for r in refused))
    return count, sums


def _put_state(state: State, writing: _Writing) -> None:
    topics = [
        {**msgspec.to_builtins(topic), "steps": state.topic_steps(topic.id)}
        for topic in state.topics.values()
    ]
    writing.put_json("topics.json", topics)
    writing.put_json("plans.json", _plans(state))
    writing.put_json("settings.json", state.settings)
    writing.put_json("performances.json", list(state.performances.values()))
    writing.put_json("runs.json", list(state.runs.values()))
    for name, text in tables_of(state).items():
        writing.put(f"tables/{name}.csv", text.encode())


def _plans(state: State) -> list[Plan]:
    """Every plan, by day and start."""
    return [plan for day in state.days_planned() for plan in state.plans_on(day)]


def _put_passages(state: State, writing: _Writing) -> list[NotWritten]:
    not_written = []
    for stored in state.passages.values():
        files, faults = forms_of(stored)
        for name, text in files.items():
            writing.put(f"passages/{name}", text.encode())
        not_written += faults
        writing.tell(stored.title, more=1)
    return not_written


def _put_takes(kept: Kept, sums: dict[str, str], writing: _Writing) -> tuple[list[str], list[str]]:
    """Write sound and pages; return the ids of those that are missing, and of damaged ones."""
    missing, damaged = [], []
    for take_id, sha256 in sums.items():
        try:
            sound = kept.take_files.path(take_id)
            name = contents.name_of(take_id, sound.suffix)
            parts = _parts(sound, lambda: writing.tell("takes"))
            writing.stream(name, parts, pack=False)
        except (NotFoundError, FileNotFoundError):
            missing.append(take_id)
        else:
            if writing.sums[name] != sha256:
                damaged.append(take_id)
        writing.tell("takes", more=1)
    return missing, damaged


def _parts(path: Path, tell: Callable[[], None]) -> Iterator[bytes]:
    with path.open("rb") as file:
        yield file.read(_CHUNK)
        while part := file.read(_CHUNK):
            tell()
            yield part
