"""Messages between the two processes: two lengths, JSON, bytes."""

import json
import struct
from typing import Any, BinaryIO

_HEAD = struct.Struct(">IQ")
MOST_JSON = 1 << 28
MOST_BODY = 1 << 30


def send(target: BinaryIO, message: dict[str, Any], body: bytes | memoryview = b"") -> None:
    """Write one message."""
    text = json.dumps(message).encode("utf-8", "replace")
    target.write(_HEAD.pack(len(text), len(body)))
    target.write(text)
    target.write(body)
    target.flush()


def receive(source: BinaryIO) -> tuple[dict[str, Any], bytes] | None:
    """Read one message; None at the end. Raises EOFError for half of one, or a huge one."""
    head = source.read(_HEAD.size)
    if not head:
        return None
    if len(head) < _HEAD.size:
        raise EOFError
    text_size, body_size = _HEAD.unpack(head)
    if text_size > MOST_JSON or body_size > MOST_BODY:
        raise EOFError
    text, body = source.read(text_size), source.read(body_size)
    if len(text) < text_size or len(body) < body_size:
        raise EOFError
    message: dict[str, Any] = json.loads(text)
    return message, body
