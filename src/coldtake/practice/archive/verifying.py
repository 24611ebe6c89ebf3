"""An export read back, by the reader that restores it, before it is called done.

Every line of the log has to read back as the entry that was written, every sound as the file that
was packed. What the reader would refuse one day is refused today, while the log is still here.
"""

import hashlib
from pathlib import Path

from coldtake.domain.events import to_json
from coldtake.errors import InputError, StoreError
from coldtake.ports import Cancelled, Progress
from coldtake.practice.archive.contents import LOG, Manifest
from coldtake.practice.archive.meanings import Meanings
from coldtake.practice.archive.reading import Archive

_TOLD_EVERY = 500


def verify(path: Path, manifest: Manifest, name: str, progress: Progress | None) -> None:
    """Read an archive back. Raises StoreError naming what is wrong with it, Cancelled.

    manifest : what was written into it; name : what the archive is going to be called
    """
    try:
        with Archive(path) as archive:
            fault = _fault(archive, manifest, progress)
    except InputError as error:
        fault = error.what
    if fault:
        raise StoreError(
            f"The export could not be read back: {fault}",
            where=name,
            remedy="It was not saved. Check the disk, run “coldtake check”, and export again.",
        )


def _fault(archive: Archive, manifest: Manifest, progress: Progress | None) -> str:
    if archive.manifest != manifest:
        return "its manifest reads otherwise."
    done, digest, meanings = 0, hashlib.sha256(), Meanings()
    for done, event in enumerate(archive.events(), start=1):
        digest.update(to_json(event) + b"\n")
        meanings.add(event)
        _tell(progress, done, manifest.events)
    if digest.hexdigest() != manifest.sha256[LOG]:
        return "an entry of the log reads otherwise."
    if meanings.twofold:
        return f"one id has two meanings ({meanings.twofold[0]})."
    for _ in archive.refused():
        pass
    for done, take_id in enumerate(sorted(archive.take_ids), start=1):
        if archive.take(take_id) is None:
            return f"the sound of take {take_id} is damaged."
        _tell(progress, done, manifest.takes)
    return ""


def _tell(progress: Progress | None, done: int, total: int) -> None:
    now = done % _TOLD_EVERY == 0
    if now and progress is not None and not progress.step(done, total, "reading it back"):
        raise Cancelled
