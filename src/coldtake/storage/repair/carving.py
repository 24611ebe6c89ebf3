"""Entries out of the pages of a damaged SQLite file, whatever became of its tree.

Every page that looks like a leaf of a table is read by itself (file format: sqlite.org/fileformat2
.html, sections 1.6 and 2.1 for pages and records), so that an entry is
found as long as its own bytes are there. What is found is believed only if its checksum fits.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

import msgspec

from coldtake.domain.events import from_json
from coldtake.storage.database.checksums import COLUMNS, mended
from coldtake.storage.database.wal import committed, wal_of

_LEAF = 0x0D
_USUAL_PAGE = 4096
_PAYLOAD_MOST = 64 * 1024 * 1024
_SHA256_SIGNS = 64


@dataclass(frozen=True, slots=True)
class Carved:
    """Entries by their number, refused ones, and what is only partly there.

    refused : (sha256, at, why, raw); torn : (number, columns) of entries that do not fit
    """

    entries: dict[int, dict[str, str]]
    refused: list[tuple[str, str, str, bytes]]
    torn: dict[int, dict[str, str]]


def carve(database: Path) -> Carved:
    """Read what can be read of a database file and of its write-ahead log. Raises OSError."""
    found, seen = Carved({}, [], {}), set()
    for number, values in _Pages(database).records():
        if number in found.entries or len(values) not in (5, 6, 7):
            continue
        if len(values) == 5:
            refused = _refused(values[1:])
            if refused and refused[0] not in seen:
                seen.add(refused[0])
                found.refused.append(refused)
            continue
        columns = dict(zip(COLUMNS, (_text(value) for value in values[1:6]), strict=True))
        right = whole(columns, _text(values[6]) if len(values) == 7 else "")
        if right:
            found.entries[number] = right
        elif columns["body"].startswith("{"):
            found.torn[number] = columns
    for number in found.entries.keys() & found.torn.keys():
        del found.torn[number]
    return found


def whole(columns: dict[str, str], digest: str) -> dict[str, str] | None:
    """Return an entry as it was written, None where that cannot be told."""
    if digest:
        return mended(columns, digest)
    try:  # from before entries had a checksum
        return columns if from_json(columns["body"]).id == columns["id"] else None
    except (msgspec.MsgspecError, ValueError, RecursionError):
        return None


def _refused(values: list[bytes | None]) -> tuple[str, str, str, bytes] | None:
    digest, at, why, raw = values
    if digest is None or at is None or len(digest) != _SHA256_SIGNS:
        return None
    raw = raw or b""
    fits = sha256(raw).hexdigest() == _text(digest)
    return (_text(digest), _text(at), _text(why), raw) if fits else None


def _text(value: bytes | None) -> str:
    return (value or b"").decode("utf-8", "surrogateescape")


class _Pages:
    """The pages of a database file, and newer ones of them in its write-ahead log."""

    def __init__(self, database: Path) -> None:
        data = database.read_bytes() if database.exists() else b""
        wal = wal_of(database)
        self._size = _page_size(data)
        self._data = memoryview(data)
        self._newer = committed(wal.read_bytes() if wal.exists() else b"", self._size)
        reserved = data[20] if len(data) > 20 and data[20] < 64 else 0
        self._usable = self._size - reserved

    def records(self) -> Iterator[tuple[int, list[bytes | None]]]:
        """Give (row number, values) of every record in a leaf of a table."""
        for page, image in self._images():
            yield from self._records_in(page, image)

    def _images(self) -> Iterator[tuple[int, memoryview]]:
        for page, images in self._newer.items():
            for image in reversed(images):
                yield page, image
        for page in range(1, len(self._data) // self._size + 1):
            yield page, self._of_file(page)

    def _of_file(self, page: int) -> memoryview:
        return self._data[(page - 1) * self._size : page * self._size]

    def _records_in(self, page: int, image: memoryview) -> Iterator[tuple[int, list[bytes | None]]]:
        head = 100 if page == 1 else 0
        if image[head] != _LEAF:
            return
        cells = min(int.from_bytes(image[head + 3 : head + 5], "big"), self._size // 4)
        for n in range(cells):
            at = head + 8 + 2 * n
            start = int.from_bytes(image[at : at + 2], "big")
            try:
                number, payload = self._cell(image, start)
                yield number, _values(payload)
            except (IndexError, ValueError):
                continue

    def _cell(self, image: memoryview, start: int) -> tuple[int, bytes]:
        length, at = _varint(image, start)
        number, at = _varint(image, at)
        if length > _PAYLOAD_MOST:
            raise ValueError("longer than any entry")
        here = self._local(length)
        payload = bytearray(image[at : at + here])
        if here < length:
            follows = int.from_bytes(image[at + here : at + here + 4], "big")
            self._follow(payload, follows, length)
        if len(payload) != length:
            raise ValueError("cut off")
        return number, bytes(payload)

    def _local(self, length: int) -> int:
        """Return how much of a payload lies in the page itself (file format, section 1.6)."""
        most = self._usable - 35
        if length <= most:
            return length
        least = (self._usable - 12) * 32 // 255 - 23
        here = least + (length - least) % (self._usable - 4)
        return here if here <= most else least

    def _follow(self, payload: bytearray, page: int, length: int) -> None:
        while len(payload) < length and page:
            newer = self._newer.get(page)
            image = newer[-1] if newer else self._of_file(page)
            if len(image) < self._usable:
                raise ValueError("a page is missing")
            payload += image[4 : min(self._usable, 4 + length - len(payload))]
            page = int.from_bytes(image[:4], "big")


def _page_size(data: bytes) -> int:
    told = int.from_bytes(data[16:18], "big")
    size = 65536 if told == 1 else told
    return size if size >= 512 and size & (size - 1) == 0 else _USUAL_PAGE


def _varint(data: memoryview | bytes, at: int) -> tuple[int, int]:
    value = 0
    for n in range(8):
        byte = data[at + n]
        value = value << 7 | byte & 0x7F
        if not byte & 0x80:
            return value, at + n + 1
    return value << 8 | data[at + 8], at + 9


def _values(payload: bytes) -> list[bytes | None]:
    """Return the values of a record: texts and blobs as bytes, all else as None."""
    end, at = _varint(payload, 0)
    lengths = []
    while at < end:
        kind, at = _varint(payload, at)
        lengths.append((kind, _SHORT[kind] if kind < 12 else (kind - 12) // 2))
    values: list[bytes | None] = []
    at = end
    for kind, length in lengths:
        values.append(payload[at : at + length] if kind >= 12 else None)
        at += length
    if at != len(payload):
        raise ValueError("not a record")
    return values


_SHORT = (0, 1, 2, 3, 4, 6, 8, 8, 0, 0, 0, 0)  # lengths of the numbers (file format, section 2.1)
