"""What looking after the data finds and does: copies, check-ups, repairs."""

from datetime import date, datetime

import msgspec


class Copy(msgspec.Struct, frozen=True, kw_only=True):
    """An automatic copy of the log. before : the shape it was made ahead of, "" for a daily one."""

    name: str
    folder: str
    day: date
    size_bytes: int
    before: str = ""


class Repair(msgspec.Struct, frozen=True, kw_only=True):
    """Something was damaged and put right, as far as that could be done.

    lost : entries that could not be brought back; aside : where what was damaged lies now
    """

    at: datetime
    what: str
    lost: int = 0
    aside: str = ""


class Checkup(msgspec.Struct, frozen=True, kw_only=True):
    """What one check found. Takes are ids; `heard_of` of `takes` had their checksum compared.

    strays : files of takes that the log does not speak of (a recording that was never acknowledged)
    """

    at: datetime
    events: int
    takes: int
    heard_of: int
    missing: tuple[str, ...] = ()
    damaged: tuple[str, ...] = ()
    brought_back: tuple[str, ...] = ()
    strays: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()

    @property
    def sound(self) -> bool:
        """True when nothing is amiss."""
        return not (self.missing or self.damaged or self.remarks)
