"""Sound of the takes: one FLAC file each, whole or not there at all.

A file is written under a temporary name, flushed to disk, renamed, and the folder flushed too, so
that after `keep` returns neither a crash nor a power cut can take it away.
"""

import contextlib
import hashlib
import os
import re
import tempfile
from pathlib import Path

from coldtake.errors import NotFoundError, RuleError
from coldtake.storage.faults import of_system

_ID = re.compile(r"[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}")
_UNFINISHED = ".part"


class FolderTakes:
    """`ports.TakeFiles` in a folder."""

    def __init__(self, folder: Path) -> None:
        """Use (and make) a folder. Raises StoreError where it cannot be made."""
        self._folder = folder
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            raise of_system(fault, folder) from fault

    def keep(self, take_id: str, flac: bytes) -> str:
        """Keep a take's sound, return its SHA-256 in hex. Raises StoreError, RuleError."""
        target = self._file(take_id)
        sha256 = hashlib.sha256(flac).hexdigest()
        if not self.damaged(take_id, sha256):
            return sha256
        try:
            write_whole(target, flac)
        except OSError as fault:
            raise of_system(fault, target) from fault
        return sha256

    def path(self, take_id: str) -> Path:
        """Return where the sound lies. Raises NotFoundError when there is none."""
        target = self._file(take_id)
        if not target.is_file():
            raise NotFoundError(
                "The sound of this take is not there.",
                where=str(target),
                remedy="Its verdict is kept; put the file back from a copy to hear it.",
            )
        return target

    def damaged(self, take_id: str, sha256: str) -> bool:
        """Say whether the file is missing or differs from its checksum."""
        target = self._file(take_id)
        try:
            with target.open("rb") as sound:
                return hashlib.file_digest(sound, "sha256").hexdigest() != sha256
        except FileNotFoundError:
            return True
        except OSError as fault:
            raise of_system(fault, target) from fault

    def _file(self, take_id: str) -> Path:
        if not _ID.fullmatch(take_id):  # nothing from outside may name another file
            raise RuleError(f"“{take_id}” is not the id of a take.", remedy="Send a UUID.")
        return self._folder / f"{take_id.lower()}.flac"


def write_whole(target: Path, data: bytes) -> None:
    """Write a file so that a crash leaves either all of it or none. Raises OSError."""
    handle, name = tempfile.mkstemp(suffix=_UNFINISHED, dir=target.parent)
    try:
        with os.fdopen(handle, "wb") as part:
            part.write(data)
            part.flush()
            os.fsync(part.fileno())
        Path(name).replace(target)
    except BaseException:
        with contextlib.suppress(OSError):
            Path(name).unlink()
        raise
    flush_folder(target.parent)


def flush_folder(folder: Path) -> None:
    """Put a folder's own entries on disk, where the system knows how to."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
