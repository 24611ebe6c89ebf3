"""A folder that really cannot be written, also by root: its rights taken, and root's own too."""

import ctypes
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_VERSION, _OVERRIDES = 0x20080522, 1 << 1 | 1 << 2  # capset(2): _3; DAC_OVERRIDE, DAC_READ_SEARCH


@contextmanager
def unwritable(folder: Path) -> Iterator[None]:
    """Take away the right to write in a folder; threads begun inside have lost it, too."""
    places = [folder, *folder.rglob("*")]
    rights = {place: place.stat().st_mode & 0o777 for place in places}
    for place in reversed(places):
        place.chmod(0o500 if place.is_dir() else 0o400)
    before = _overrides(0)
    try:
        yield
    finally:
        _overrides(before)
        for place, mode in rights.items():
            place.chmod(mode)


def _overrides(wanted: int) -> int:
    """Set which of root's overrides of rights this thread has; return what it had."""
    if sys.platform != "linux" or os.geteuid() != 0:
        return 0
    libc = ctypes.CDLL(None, use_errno=True)
    head, data = (ctypes.c_uint32 * 2)(_VERSION, 0), (ctypes.c_uint32 * 6)()
    assert libc.capget(head, data) == 0
    had = data[0] & _OVERRIDES
    data[0] = data[0] & ~_OVERRIDES | wanted
    assert libc.capset(head, data) == 0
    return had
