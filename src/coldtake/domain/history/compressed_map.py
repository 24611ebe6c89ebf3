"""A mapping that keeps what was written last as records, and the rest packed small.

A diary of ten years is read a page at a time: unpacked it would fill the memory, packed it takes a
few megabytes, and one record is unpacked in well under a millisecond.
"""

import zlib
from collections.abc import Iterator, Mapping, MutableMapping
from functools import lru_cache
from typing import Any, Generic, TypeVar

import msgspec

K = TypeVar("K")
V = TypeVar("V", bound=msgspec.Struct)

_LEVEL = 1  # zlib's quickest; the next ones save a tenth
_UNPACKED_MOST = 256


class CompressedMap(MutableMapping[K, V], Generic[K, V]):
    """Records by key, in the order in which the keys came. Records are never changed in place.

    Equal to any mapping with equal records. Reading changes nothing, so many threads may read.
    """

    __slots__ = ("_fresh", "_kind", "_most", "_things")

    def __init__(self, kind: type[V], most: int) -> None:
        """`kind` of the records; the `most` written last stay unpacked."""
        self._kind, self._most = kind, most
        self._things: dict[K, V | bytes] = {}
        self._fresh: dict[K, None] = {}

    def copy(self) -> "CompressedMap[K, V]":
        """Return one that goes its own way; the records are shared."""
        twin = CompressedMap[K, V](self._kind, self._most)
        twin._things, twin._fresh = self._things.copy(), self._fresh.copy()
        return twin

    def packed(self) -> dict[K, bytes]:
        """Return every record packed."""
        return {
            key: thing if isinstance(thing, bytes) else _pack(thing)
            for key, thing in self._things.items()
        }

    def fill(self, packed: Mapping[K, bytes]) -> None:
        """Take what `packed` returned, in place of everything."""
        self._things, self._fresh = dict(packed), {}

    def __getitem__(self, key: K) -> V:
        thing = self._things[key]
        return _unpack(self._kind, thing) if isinstance(thing, bytes) else thing

    def __setitem__(self, key: K, record: V) -> None:
        self._things[key] = record
        self._fresh.pop(key, None)
        self._fresh[key] = None
        if len(self._fresh) > self._most:
            oldest = next(iter(self._fresh))
            del self._fresh[oldest]
            self._things[oldest] = _pack(self._things[oldest])

    def __delitem__(self, key: K) -> None:
        del self._things[key]
        self._fresh.pop(key, None)

    def __iter__(self) -> Iterator[K]:
        return iter(self._things)

    def __len__(self) -> int:
        return len(self._things)

    def __contains__(self, key: object) -> bool:
        return key in self._things

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Mapping):
            return NotImplemented
        if len(self) != len(other):
            return False
        theirs = other._things if isinstance(other, CompressedMap) else other
        return all(
            key in theirs and (thing == theirs[key] or self[key] == other[key])
            for key, thing in self._things.items()
        )

    __hash__ = None  # type: ignore[assignment]


def _pack(record: msgspec.Struct | bytes) -> bytes:
    # JSON, not MessagePack: the latter forgets an instant's distance to UTC.
    return record if isinstance(record, bytes) else zlib.compress(_write(record), _LEVEL)


def _write(record: msgspec.Struct) -> bytes:
    return msgspec.json.encode(record)


@lru_cache(maxsize=_UNPACKED_MOST)
def _unpack(kind: type[Any], packed: bytes) -> Any:
    return decoder(kind).decode(zlib.decompress(packed))


def decoder(kind: type[Any]) -> "msgspec.json.Decoder[Any]":
    """Return the reader of one kind of record, made once."""
    known = _DECODERS.get(kind)
    if known is None:
        known = _DECODERS[kind] = msgspec.json.Decoder(kind)
    return known


_DECODERS: "dict[type[Any], msgspec.json.Decoder[Any]]" = {}
