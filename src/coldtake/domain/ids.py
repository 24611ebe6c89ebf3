"""Ids are UUIDv7 (RFC 9562, section 5.7), made where a thing arises; sending twice is harmless."""

import uuid
from datetime import UTC, datetime, timedelta

_MS_BITS = 48
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def uuid7(at_ms: int, randomness: bytes) -> str:
    """Build a UUIDv7 from Unix milliseconds >= 0 and 10 random bytes."""
    if not 0 <= at_ms < 1 << _MS_BITS or len(randomness) != 10:
        raise ValueError("uuid7 needs 48-bit milliseconds and exactly 10 random bytes")
    value = bytearray(at_ms.to_bytes(6, "big") + randomness)
    value[6] = (value[6] & 0x0F) | 0x70
    value[8] = (value[8] & 0x3F) | 0x80
    return str(uuid.UUID(bytes=bytes(value)))


def made_at(text: str) -> datetime | None:
    """Return when an id was made, to the millisecond in UTC; None for one that does not tell."""
    try:
        found = uuid.UUID(text)
        return _EPOCH + timedelta(milliseconds=found.int >> 80) if found.version == 7 else None
    except (ValueError, OverflowError):
        return None


def named_id(*parts: str) -> str:
    """Build the same id for the same words, for things derived from others (RFC 9562, UUIDv5)."""
    return str(uuid.uuid5(_NAMESPACE, "\x1f".join(parts)))


_NAMESPACE = uuid.UUID("6f1d2c1e-5a0b-5c7e-9d43-0c01d7a4e001")
