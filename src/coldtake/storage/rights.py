"""Which files of a data folder are ours, and that no other account reads them.

The folder may hold what is not ours: that is left alone.
"""

import os
from collections.abc import Iterator
from pathlib import Path

from coldtake.durable import make_private
from coldtake.storage.database.place import MARKER
from coldtake.storage.folder import LOG_NAME, TAKES_NAME
from coldtake.storage.folder_maintenance import HEALTH
from coldtake.storage.repair.copies import CHOICE, INSIDE
from coldtake.storage.repair.recovery import ASIDE
from coldtake.storage.repair.repairs import NAME as REPAIRS

_FOLDERS = (TAKES_NAME, INSIDE, ASIDE, "sharing")
_FILES = (f"{LOG_NAME}*", "*.lock", REPAIRS, HEALTH, CHOICE, MARKER)


def close_to_others(folder: Path) -> None:
    """Let nobody else read a data folder and what Coldtake keeps in it, old files included."""
    make_private(_ours(folder))


def _ours(folder: Path) -> Iterator[str | Path]:
    yield folder
    for pattern in _FILES:
        yield from folder.glob(pattern)
    for name in _FOLDERS:
        if not (folder / name).is_symlink():
            for place, _, files in os.walk(folder / name):
                yield place
                yield from (os.path.join(place, file) for file in files)
