"""JSON that somebody sent: the one reader for it.

msgspec raises RecursionError for brackets within brackets within brackets, and UnicodeDecodeError
for what is no UTF-8, beside its own errors; here whatever cannot be read is one kind of error.
"""

from typing import Any

import msgspec

MOST_INTEGER = 2**53 - 1  # what every program that reads JSON holds exactly (RFC 8259, section 6)


def read(raw: bytes | str, wanted: Any = Any) -> Any:
    """Read JSON as this type. Raises msgspec.DecodeError with a sentence's worth of words."""
    try:
        return msgspec.json.decode(raw, type=wanted)
    except RecursionError:
        raise msgspec.DecodeError("it is nested too deeply") from None
    except UnicodeError:
        raise msgspec.DecodeError("it is not text in UTF-8") from None
