"""Make the archive of the present format, to be kept for ever once that format is released.

    PYTHONPATH=src:tests:tests/upgrade python tests/upgrade/build_archive.py

Writes released/archive-<format>.zip: one of every kind of event, and one take with its sound. A
file that is there already is never written again: it stands for what players have on their disks.
"""

import io
import sys
import tempfile
from datetime import timedelta
from pathlib import Path

import numpy as np
import soundfile
from build_released import FIRST, RELEASED, START, released_events

from coldtake.domain.ids import named_id
from coldtake.domain.take import NewTake
from coldtake.practice.archive import FORMAT, export
from coldtake.practice.services import House
from coldtake.storage.database.log import SqlStore
from coldtake.storage.folder import sqlite_url
from coldtake.storage.takes import FolderTakes
from making import SteppingClock

SOUNDING = named_id("take with a sound")


def build() -> None:
    """Write the archive of `FORMAT` unless it is there."""
    target = RELEASED / f"archive-{FORMAT}.zip"
    if target.exists():
        sys.exit(f"{target.name} is there already and stays as it is")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        clock = SteppingClock(START + timedelta(days=1))
        services = House(SqlStore(sqlite_url(folder)), FolderTakes(folder / "takes"), clock)
        services.store.append(released_events())
        services.sessions.record([b"{cut off"])
        wav = io.BytesIO()
        soundfile.write(wav, np.sin(np.arange(8000) / 20), 8000, format="WAV")
        services.takes.keep(wav.getvalue(), NewTake(step_id=FIRST.id, take_id=SOUNDING))
        export(services, target)
        services.close()


if __name__ == "__main__":
    build()
