"""The whole state as bytes: what is kept on the shelf between two starts.

Whoever reads must be the code that wrote: `MAKER` names it by the text of every module that says
what follows from the log, so that an update of any of them reads the log again.
"""

import logging
import zlib
from collections.abc import Callable
from datetime import date
from hashlib import blake2b
from pathlib import Path
from typing import Any, get_type_hints

import msgspec

import coldtake.domain
from coldtake.domain.history.compressed_map import CompressedMap
from coldtake.domain.history.state import State
from coldtake.domain.history.step_history import OwnerIndex, PhaseCache, PhaseRecord

log = logging.getLogger(__name__)


def maker_of(*packages: Any) -> str:
    """Name the code of some packages, 32 hexadecimal signs."""
    told = blake2b(msgspec.__version__.encode(), digest_size=16)
    for package in packages:
        room = Path(package.__file__).parent
        for module in sorted(room.rglob("*.py")):
            name = module.relative_to(room).as_posix()
            told.update(name.encode() + b"\0" + module.read_bytes())
    return told.hexdigest()


MAKER = maker_of(coldtake.domain)
_FOLLOW = "that follow"
_HINTS = get_type_hints(State)
_PARTS = msgspec.msgpack.Decoder(dict[str, msgspec.Raw])  # looked at in place, not copied
_PACKED = msgspec.msgpack.Decoder(dict[str, bytes])
_BYTES = msgspec.msgpack.Decoder(bytes)
_HOMES = msgspec.json.Decoder(dict[str, list[int]])
_MARKS = msgspec.json.Decoder(dict[str, PhaseRecord])


def write(state: State, numbers: list[int]) -> bytes:
    """Return a state, and the numbers of the events that follow it, as bytes."""
    parts = {name: _written(getattr(state, name)) for name in state.__struct_fields__}
    parts[_FOLLOW] = msgspec.json.encode(numbers)
    return msgspec.msgpack.encode(parts)


def read(body: bytes) -> tuple[State, list[int]] | None:
    """Return what was given to `write`, None where the bytes are not what `write` gives."""
    try:
        parts = _PARTS.decode(body)
        state = State()
        numbers = msgspec.json.decode(_BYTES.decode(parts[_FOLLOW]), type=list[int])
        for name in state.__struct_fields__:
            _READERS.get(name, _read_plain)(state, name, parts[name])
    except (msgspec.MsgspecError, KeyError, ValueError, zlib.error) as fault:
        log.info("what was computed from the log is computed again: %s", fault)
        return None
    return state, numbers


def _written(value: Any) -> bytes | dict[str, bytes]:
    if isinstance(value, CompressedMap):
        return {_text(k): v for k, v in value.packed().items()}
    if isinstance(value, OwnerIndex):
        return msgspec.json.encode(value.told())
    if isinstance(value, PhaseCache):
        return msgspec.json.encode({step_id: mark for step_id, (_, mark) in value.items()})
    return msgspec.json.encode(value)


def _text(key: str | date) -> str:
    return key.isoformat() if isinstance(key, date) else key


def _read_plain(state: State, name: str, body: msgspec.Raw) -> None:
    setattr(state, name, msgspec.json.decode(_BYTES.decode(body), type=_HINTS[name]))


def _read_packed(state: State, name: str, body: msgspec.Raw) -> None:
    getattr(state, name).fill(_PACKED.decode(body))


def _read_by_day(state: State, name: str, body: msgspec.Raw) -> None:
    told = {date.fromisoformat(k): v for k, v in _PACKED.decode(body).items()}
    getattr(state, name).fill(told)


def _read_homes(state: State, _name: str, body: msgspec.Raw) -> None:
    state.homes = OwnerIndex(_HOMES.decode(_BYTES.decode(body)))


def _read_marks(state: State, _name: str, body: msgspec.Raw) -> None:
    for step_id, mark in _MARKS.decode(_BYTES.decode(body)).items():
        if step_id in state.steps:
            state.marks[step_id] = (state.steps[step_id].criterion, mark)


_READERS: dict[str, Callable[[State, str, msgspec.Raw], None]] = {
    "plans": _read_by_day,
    "more_plans": _read_packed,
    "said": _read_by_day,
    "outlooks": _read_by_day,
    "sessions": _read_packed,
    "pasts": _read_packed,
    "homes": _read_homes,
    "marks": _read_marks,
}
