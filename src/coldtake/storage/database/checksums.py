"""The checksum of a log entry, and the small damage that it can correct.

Two halves over the columns in their order: CRC-32 (as in ISO 3309 and zlib), which is linear and so
tells directly which bit turned, and 32 bits of BLAKE2b (RFC 7693), which confirms it.
"""

import zlib
from hashlib import blake2b

from coldtake.domain.events import Event, to_json

COLUMNS = ("id", "kind", "at", "day", "body")
_BETWEEN = "\x1f"
_HALF = 8  # hexadecimal signs
_POLYNOMIAL = 0xEDB88320  # of CRC-32, bits reversed

Columns = dict[str, str]


def digest_of(id: str, kind: str, at: str, day: str, body: str) -> str:  # noqa: A002 - a column
    """Return the checksum of an entry, 16 hexadecimal signs."""
    return _digest(_told(id, kind, at, day, body))


def row_of(event: Event) -> Columns:
    """Return an event as the columns of its entry, checksum included."""
    columns = {
        "id": event.id,
        "kind": str(type(event.data).__struct_config__.tag),
        "at": event.at.isoformat(),
        "day": event.day.isoformat(),
        "body": to_json(event).decode(),
    }
    return {**columns, "digest": digest_of(**columns) if event.id else ""}


def mended(columns: Columns, digest: str) -> Columns | None:
    """Return the entry as it was before one bit turned in it, None where more than that is wrong.

    columns : the five columns as read, bytes that are no text as surrogates
    """
    told = _told(*(columns[name] for name in COLUMNS))
    if _digest(told) == digest or _turned_itself(_digest(told), digest):
        return columns
    turned = _with_bit_turned(told, digest)
    if turned is None or _digest(turned) != digest:
        return None
    return dict(zip(COLUMNS, turned.decode().split(_BETWEEN), strict=True))


def _told(*columns: str) -> bytes:
    return _BETWEEN.join(columns).encode("utf-8", "surrogateescape")


def _digest(told: bytes) -> str:
    return f"{zlib.crc32(told):08x}{blake2b(told, digest_size=4).hexdigest()}"


def _turned_itself(right: str, digest: str) -> bool:
    """Say whether the bit turned in the checksum: then one half of it fits still."""
    return len(digest) == 2 * _HALF and (
        right[:_HALF] == digest[:_HALF] or right[_HALF:] == digest[_HALF:]
    )


def _with_bit_turned(told: bytes, digest: str) -> bytes | None:
    """Find the bit whose turning explains the difference of the CRCs; return the bytes without it.

    A turned bit adds to the CRC what follows from that bit alone: the polynomial for the last one,
    and for each bit before it one step of the shift register more.
    """
    try:
        wanted = zlib.crc32(told) ^ int(digest[:_HALF], 16)
    except ValueError:
        return None
    adds = _POLYNOMIAL
    for bit in range(8 * len(told) - 1, -1, -1):
        if adds == wanted:
            turned = bytearray(told)
            turned[bit // 8] ^= 1 << bit % 8
            return bytes(turned)
        adds = adds >> 1 ^ (_POLYNOMIAL if adds & 1 else 0)
    return None
