"""Reading an archive that came from anywhere: bounded, and nothing believed before it is checked.

An archive is never unpacked. Its names are compared with those that archives have, what is read is
counted while it unpacks, and a line that is no event ends the reading.
"""

import base64
import hashlib
import io
import re
import zipfile
import zlib
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import IO, Self

import msgspec

from coldtake.domain.events import Event, from_json
from coldtake.errors import InputError
from coldtake.practice.archive import contents
from coldtake.practice.archive.contents import Manifest

FILES_MOST = 500_000
MANIFEST_MOST = 128 << 20
LINE_MOST = 64 << 20
TAKE_MOST = 512 << 20
_ONCE_MOST = 128 << 20  # the directory of a zip file is read at once
_CHUNK = 1 << 20
_NAME = re.compile(
    r"[A-Za-z]+(\.schema)?\.(txt|jsonl?)|(passages|takes|pages|tables)/[A-Za-z0-9._-]{1,160}"
)
_ID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_BROKEN = (
    zipfile.BadZipFile,
    zlib.error,
    EOFError,
    OSError,
    RuntimeError,
    NotImplementedError,
    ValueError,
    OverflowError,
)


class Archive:
    """An archive, open for reading. Raises InputError for what is no whole archive of ours."""

    def __init__(self, path: Path) -> None:
        self.where = path.name
        try:
            self._file = path.open("rb")
        except OSError as fault:
            raise InputError(
                f"The export cannot be opened: {(fault.strerror or str(fault)).lower()}.",
                where=str(path),
                remedy="Check its name and place.",
            ) from fault
        try:
            self._open()
        except BaseException:
            self._file.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self._file.close()

    @property
    def take_ids(self) -> frozenset[str]:
        """Ids of the takes whose sound is in the archive, and of the files of pages."""
        return frozenset(self._files)

    def events(self) -> Iterator[Event]:
        """Use the events in order of arrival. Raises InputError naming the line that is unfit."""
        count = 0
        for count, line in enumerate(self._lines(contents.LOG), start=1):
            yield self._event(line, count)
        if count != self.manifest.events:
            raise self._fault(f"it holds {count} events where {self.manifest.events} are promised")

    def refused(self) -> Iterator[tuple[datetime, str, bytes]]:
        """Use what was refused: (when, why, the bytes as they came)."""
        if contents.REFUSED not in self._names:
            return
        for number, line in enumerate(self._lines(contents.REFUSED), start=1):
            try:
                told = msgspec.json.decode(line, type=_Refused)
                raw = base64.b64decode(told.raw_base64, validate=True)
            except (ValueError, RecursionError) as fault:
                raise self._fault(f"line {number} of {contents.REFUSED} cannot be read") from fault
            yield told.at, told.why, raw

    def take(self, take_id: str) -> bytes | None:
        """Return a take's sound or a file of pages, None where it is not as the manifest says."""
        name = self._files.get(take_id.lower())
        if name is None or self._zip.getinfo(name).file_size > TAKE_MOST:
            return None
        sound = io.BytesIO()
        try:
            for part in self._parts(name, TAKE_MOST):
                sound.write(part)
        except InputError:
            return None
        digest = hashlib.sha256(sound.getbuffer()).hexdigest()
        return sound.getvalue() if digest == self.manifest.sha256.get(name) else None

    def _open(self) -> None:
        try:
            self._zip = zipfile.ZipFile(_Bounded(self._file))
            infos = self._zip.infolist()
        except _BROKEN as fault:
            raise InputError(
                "This is not an export, or it is incomplete.",
                where=self.where,
                remedy="Use the .zip that Coldtake wrote; copy it again if it came by wire.",
            ) from fault
        self._names = frozenset(info.filename for info in infos)
        if len(infos) > FILES_MOST or len(self._names) != len(infos):
            raise self._fault("it holds too many files, or one of them twice")
        for info in infos:
            if not _NAME.fullmatch(info.filename):
                shown = info.filename[:60].encode("ascii", "replace").decode()
                raise self._fault(f"it holds “{shown}”, which no archive does")
        found = (contents.KEPT_FILE.fullmatch(name) for name in self._names)
        self._files = {told[1] or told[2]: told[0] for told in found if told}
        self.manifest = self._manifest()

    def _manifest(self) -> Manifest:
        for name in (contents.MANIFEST, contents.LOG):
            if name not in self._names:
                raise self._fault(f"{name} is not in it")
        text = b"".join(self._parts(contents.MANIFEST, MANIFEST_MOST))
        try:
            told = msgspec.json.decode(text, type=_AnyFormat).format
            if told > max(contents.KNOWN_FORMATS):
                raise InputError(
                    f"This export was made by a newer Coldtake (format {told}).",
                    where=self.where,
                    remedy="Install that version or a later one.",
                )
            return msgspec.json.decode(text, type=Manifest)
        except (ValueError, RecursionError) as fault:
            raise self._fault(f"{contents.MANIFEST} cannot be read") from fault

    def _lines(self, name: str) -> Iterator[bytes]:
        """Use the lines of a file, and compare its checksum at the end."""
        digest, begun, length = hashlib.sha256(), [], 0
        for part in self._parts(name, None):
            digest.update(part)
            first, *others = part.split(b"\n")
            begun.append(first)
            length += len(first)
            if others:
                yield b"".join(begun)
                yield from others[:-1]
                begun, length = [others[-1]], len(others[-1])
            if length > LINE_MOST:
                raise self._fault(f"{name} has a line longer than any event")
        if length:
            yield b"".join(begun)
        if digest.hexdigest() != self.manifest.sha256.get(name):
            raise self._fault(f"{name} does not fit its checksum")

    def _parts(self, name: str, most: int | None) -> Iterator[bytes]:
        """Unpack a file part by part, never more than it said it would be."""
        try:
            left = self._zip.getinfo(name).file_size
            if most is not None and left > most:
                raise self._fault(f"{name} is larger than any archive’s")
            with self._zip.open(name) as file:
                while part := file.read(_CHUNK):
                    yield part
        except _BROKEN as fault:
            raise self._fault(f"{name} is damaged") from fault

    def _event(self, line: bytes, number: int) -> Event:
        try:
            event = from_json(line)
        except (ValueError, RecursionError) as fault:
            said = str(fault)[:200]
            raise self._fault(f"line {number} of {contents.LOG} is no event ({said})") from fault
        if not _ID.fullmatch(event.id) or event.at.tzinfo is None:
            raise self._fault(f"line {number} of {contents.LOG} has an unfit id or instant")
        return event

    def _fault(self, what: str) -> InputError:
        return InputError(
            f"This export cannot be restored: {what}.",
            where=self.where,
            remedy="Nothing was changed. Use another copy of the export.",
        )


class _AnyFormat(msgspec.Struct):
    format: int


class _Refused(msgspec.Struct):
    at: datetime
    why: str
    raw_base64: str


class _Bounded(io.RawIOBase):
    """A file of which never more than a limit is read at once, whatever its own numbers say."""

    def __init__(self, file: IO[bytes]) -> None:
        self._inner = file

    def read(self, size: int = -1) -> bytes:
        """Read at most the limit; ask for more and it is a fault."""
        if size > _ONCE_MOST:
            raise zipfile.BadZipFile("it asks for too much at once")
        data = self._inner.read(size if size >= 0 else _ONCE_MOST + 1)
        if len(data) > _ONCE_MOST:
            raise zipfile.BadZipFile("it asks for too much at once")
        return data

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        """Go somewhere else in the file."""
        return self._inner.seek(offset, whence)

    def tell(self) -> int:
        """Say where in the file one is."""
        return self._inner.tell()

    def seekable(self) -> bool:
        """It is."""
        return True

    def readable(self) -> bool:
        """It is."""
        return True
