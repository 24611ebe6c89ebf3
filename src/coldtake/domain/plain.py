"""Records that hold plain Python values only, and refuse others where they are made.

The log is JSON: a number of another library (`numpy.float64`, though it is a `float` to Python)
cannot be written into it, and what is no number is written as null. Both would be found out only
when the record is kept, far from where it was made.
"""

import math
from datetime import date, datetime
from enum import Enum
from typing import Any

import msgspec
from msgspec.structs import astuple

_isfinite = math.isfinite
_PLAIN: set[type] = {bool, int, str, type(None), date, datetime}  # and each enumeration once met


class Plain(msgspec.Struct, frozen=True, kw_only=True):
    """Base of such records.

    Raises TypeError for a value that is no plain Python value, a record or an enumeration, alone
    or in a tuple; ValueError for a number that is not finite. Both are faults of the program.
    """

    def __post_init__(self) -> None:
        # Reading ten years of evidence comes through here: no call for a usual value.
        for value in astuple(self):
            kind = type(value)
            usual = _isfinite(value) if kind is float else kind in _PLAIN
            if not usual and not _kept(value):
                raise self._refusal(value)

    def _refusal(self, value: Any) -> TypeError | ValueError:
        names = zip(self.__struct_fields__, astuple(self), strict=True)
        name = f"{type(self).__name__}.{next(n for n, v in names if v is value)}"
        if type(value) is float:
            return ValueError(f"{name} is {value}: a record takes finite numbers")
        kind = f"{type(value).__module__}.{type(value).__qualname__}"
        return TypeError(f"{name} is {value!r} ({kind}): a record takes plain Python values")


def _kept(value: Any) -> bool:
    """Say whether a value is made of plain ones; a record has said so of its own."""
    kind = type(value)
    if kind is tuple:
        return all(_kept(v) for v in value)
    if kind is float:
        return math.isfinite(value)
    if issubclass(kind, Enum):
        _PLAIN.add(kind)
    return kind in _PLAIN or issubclass(kind, msgspec.Struct)
