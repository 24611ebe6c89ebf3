"""SQLite's write-ahead log, read by ourselves where SQLite would stop without a word.

At the first frame whose checksum does not fit SQLite ends, for it cannot know whether a crash cut
the log there or a bit turned in the middle of what was committed (file format: sqlite.org/
fileformat2.html, section 4). The frames behind tell which.
"""

import struct
from pathlib import Path

_HEAD, _FRAME_HEAD = 32, 24
_PAGE_LEAST, _PAGE_MOST = 512, 65536


def wal_of(database: Path) -> Path:
    """Return where the write-ahead log of a database lies."""
    return database.with_name(f"{database.name}-wal")


def committed(wal: bytes, size: int) -> dict[int, list[memoryview]]:
    """Return the pages in a write-ahead log up to its last commit, whatever its checksums say.

    SQLite itself stops at the first frame that does not fit; what follows it was acknowledged too.
    """
    pages: dict[int, list[memoryview]] = {}
    waiting: list[tuple[int, memoryview]] = []
    whole = memoryview(wal)
    for at in _frames(wal, size):
        if not _of_now(wal, at):
            continue
        page, commits = struct.unpack(">II", wal[at : at + 8])
        waiting.append((page, whole[at + _FRAME_HEAD : at + _FRAME_HEAD + size]))
        if commits:
            for number, image in waiting:
                pages.setdefault(number, []).append(image)
            waiting.clear()
    return pages


def is_cut(database: Path) -> bool:
    """Say whether SQLite would drop, without a word, something that was committed."""
    path = wal_of(database)
    wal = path.read_bytes() if path.exists() else b""
    if len(wal) <= _HEAD:
        return False
    size = int.from_bytes(wal[8:12], "big")
    order = ">" if int.from_bytes(wal[:4], "big") & 1 else "<"
    sums = _sum(wal[:24], order, (0, 0))
    if struct.unpack(">II", wal[24:32]) != sums or not _PAGE_LEAST <= size <= _PAGE_MOST:
        return any(wal[_HEAD:])
    whole = _whole_frames(wal, size, order, sums)
    return any(_of_now(wal, at) and _commits(wal, at) for at in list(_frames(wal, size))[whole:])


def _whole_frames(wal: bytes, size: int, order: str, sums: tuple[int, int]) -> int:
    """Count the frames that fit their checksums, up to the first that does not."""
    for count, at in enumerate(_frames(wal, size)):
        if not _of_now(wal, at):
            return count
        sums = _sum(wal[at : at + 8], order, sums)
        sums = _sum(wal[at + _FRAME_HEAD : at + _FRAME_HEAD + size], order, sums)
        if struct.unpack(">II", wal[at + 16 : at + 24]) != sums:
            return count
    return len(_frames(wal, size))


def _frames(wal: bytes, size: int) -> range:
    return range(_HEAD, len(wal) - size - _FRAME_HEAD + 1, size + _FRAME_HEAD)


def _of_now(wal: bytes, at: int) -> bool:
    """Say whether a frame belongs to the present log, not to one before the last checkpoint."""
    return wal[at + 8 : at + 16] == wal[16:24]


def _commits(wal: bytes, at: int) -> bool:
    return any(wal[at + 4 : at + 8])


def _sum(data: bytes, order: str, start: tuple[int, int]) -> tuple[int, int]:
    """Go on with the checksum of the write-ahead log (file format, section 4.2)."""
    one, two = start
    words = struct.unpack(f"{order}{len(data) // 4}I", data)
    for n in range(0, len(words), 2):
        one = (one + words[n] + two) & 0xFFFFFFFF
        two = (two + words[n + 1] + one) & 0xFFFFFFFF
    return one, two
