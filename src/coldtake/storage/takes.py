"""Sound of the takes and pages as they came: one file each, whole or not there at all.

A take's sound is FLAC; a file of pages is PDF, PNG or JPEG, and its ending says which.

A file is written under a temporary name, flushed to disk, renamed, and the folder flushed too, so
that after `keep` returns neither a crash nor a power cut can take it away.
"""

import contextlib
import hashlib
import os
import re
import tempfile
from collections.abc import Iterator
from pathlib import Path

from coldtake.durable import flush_file, flush_folder, private_folder
from coldtake.errors import NotFoundError, RuleError
from coldtake.storage.fault_messages import of_system

_ID = re.compile(r"[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}")
_UNFINISHED = ".part"
_SOUND = ".flac"
_PAPER = ((b"%PDF-", ".pdf"), (b"\x89PNG", ".png"), (b"\xff\xd8\xff", ".jpg"))  # first bytes
_ENDS = (_SOUND, *(end for _, end in _PAPER))


class FolderTakes:
    """`ports.TakeFiles` in a folder."""

    def __init__(self, folder: Path) -> None:
        """Use (and make) a folder. Raises StoreError where it cannot be made."""
        self._folder = folder
        try:
            if not folder.is_dir():
                private_folder(folder)
                flush_folder(folder.parent)
        except OSError as fault:
            raise of_system(fault, folder) from fault

    def keep(self, take_id: str, flac: bytes) -> str:
        """Keep a take's sound, return its SHA-256 in hex. Raises StoreError, RuleError."""
        target = self._named(take_id, _end_of(flac))
        sha256 = hashlib.sha256(flac).hexdigest()
        try:
            if not self.damaged(take_id, sha256):
                flush_folder(target.parent)  # whoever wrote it may have been killed before this
                return sha256
            write_whole(target, flac)
        except OSError as fault:
            raise of_system(fault, target) from fault
        return sha256

    def path(self, take_id: str) -> Path:
        """Return where the sound lies. Raises NotFoundError when there is none."""
        target = self._file(take_id)
        if not target.is_file():
            raise NotFoundError(
                "The recording of this take is missing.",
                where=str(target),
                remedy="Its verdict is saved. Restore a backup that has the recording.",
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

    def drop(self, take_id: str) -> None:
        """Remove a sound that the log does not speak of."""
        target = self._file(take_id)
        try:
            target.unlink(missing_ok=True)
        except OSError as fault:
            raise of_system(fault, target) from fault

    def there(self) -> frozenset[str]:
        """Return the ids of all takes whose file is there and holds something."""
        try:
            with os.scandir(self._folder) as entries:
                return frozenset(
                    entry.name.rpartition(".")[0].lower()
                    for entry in entries
                    if entry.name.endswith(_ENDS) and entry.stat().st_size > 0
                )
        except OSError as fault:
            raise of_system(fault, self._folder) from fault

    def _file(self, take_id: str) -> Path:
        """Return where a file lies, or would lie as a take's sound."""
        places = [self._named(take_id, end) for end in _ENDS]
        return next((place for place in places if place.is_file()), places[0])

    def _named(self, take_id: str, end: str) -> Path:
        if not _ID.fullmatch(take_id):  # nothing from outside may name another file
            raise RuleError(f"“{take_id}” is not the id of a take.", remedy="Send a UUID.")
        return self._folder / f"{take_id.lower()}{end}"


def _end_of(data: bytes) -> str:
    """Tell a file of pages by its first bytes; all else is sound."""
    begins = data[:1024].lstrip()
    return next((end for sign, end in _PAPER if begins.startswith(sign)), _SOUND)


def write_whole(target: Path, data: bytes) -> None:
    """Write a file so that a crash leaves either all of it or none. Raises OSError."""
    with whole_file(target) as part:
        part.write_bytes(data)


@contextlib.contextmanager
def whole_file(target: Path) -> Iterator[Path]:
    """Give a temporary file that takes the name `target` only when all of the block succeeded.

    After it neither a crash nor a power cut takes the file away. Raises OSError.
    """
    handle, name = tempfile.mkstemp(suffix=_UNFINISHED, dir=target.parent)
    os.close(handle)
    part = Path(name)
    try:
        yield part
        flush_file(part)
        part.replace(target)
    except BaseException:
        with contextlib.suppress(OSError):
            part.unlink()
        raise
    flush_folder(target.parent)
