"""The checksum of a log entry, and what it can mend by itself.

64 bits of BLAKE2b (RFC 7693) over the columns in their order. A bit that turned is found by trying
which one, turned back, makes the checksum fit: a few thousand tries for an entry, and a wrong one
fits by chance once in 10^15 entries.
"""

from collections.abc import Iterator
from hashlib import blake2b

from coldtake.domain.events import Event, from_json, to_json

COLUMNS = ("id", "kind", "at", "day", "body")
_BODY_MOST = 1 << 14  # bytes; beyond it, trying every bit takes longer than anybody waits


def digest_of(id: str, kind: str, at: str, day: str, body: str) -> str:  # noqa: A002 - a column
    """Return the checksum of an entry, 16 hexadecimal signs."""
    told = "\x1f".join((id, kind, at, day, body)).encode("utf-8", "surrogateescape")
    return blake2b(told, digest_size=8).hexdigest()


def row_of(event: Event) -> dict[str, str]:
    """Return an event as the columns of its entry, checksum included."""
    columns = {
        "id": event.id,
        "kind": str(type(event.data).__struct_config__.tag),
        "at": event.at.isoformat(),
        "day": event.day.isoformat(),
        "body": to_json(event).decode(),
    }
    return {**columns, "digest": digest_of(**columns) if event.id else ""}


def mended(columns: dict[str, str], digest: str) -> dict[str, str] | None:
    """Return the entry as it was before one bit turned in it, None where more than that is wrong.

    columns : the five columns as read, undecodable bytes as surrogates
    """
    if digest_of(**columns) == digest:
        return columns
    return _from_body(columns, digest) or _from_bits(columns, digest)


def _from_body(columns: dict[str, str], digest: str) -> dict[str, str] | None:
    """The body says everything; where it is whole, the other columns follow from it."""
    try:
        row = row_of(from_json(columns["body"]))
    except (ValueError, RecursionError):
        return None
    row["body"] = columns["body"]  # as it was written, which an older version did its own way
    # The checksum itself may be what turned: then every column says the same as the body.
    same = all(row[name] == columns[name] for name in COLUMNS)
    fits = digest_of(**{name: row[name] for name in COLUMNS}) == digest
    return (
        {name: row[name] for name in COLUMNS} if fits or (same and _one_bit(row, digest)) else None
    )


def _one_bit(row: dict[str, str], digest: str) -> bool:
    """Say whether two checksums differ in one sign only."""
    right = digest_of(**{name: row[name] for name in COLUMNS})
    return (
        len(right) == len(digest) and sum(a != b for a, b in zip(right, digest, strict=True)) == 1
    )


def _from_bits(columns: dict[str, str], digest: str) -> dict[str, str] | None:
    whole = columns["body"].encode("utf-8", "surrogateescape")
    if len(whole) > _BODY_MOST:
        return None
    for body in _turned(whole):
        try:
            candidate = {**columns, "body": body.decode()}
        except UnicodeDecodeError:
            continue
        if digest_of(**candidate) == digest:
            return candidate
    return None


def _turned(whole: bytes) -> Iterator[bytes]:
    """Give the bytes with each of their bits turned, one at a time."""
    for place in range(len(whole)):
        for bit in range(8):
            turned = bytearray(whole)
            turned[place] ^= 1 << bit
            yield bytes(turned)
