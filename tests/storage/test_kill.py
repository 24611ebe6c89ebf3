"""SIGKILL in the middle of appending: everything acknowledged is there, nothing is doubled."""

import hashlib
import os
import random
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from coldtake.storage.folder import sqlite_url
from coldtake.storage.log import SqlStore
from coldtake.storage.takes import FolderTakes

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL is a Unix thing")
SRC = Path(__file__).parents[2] / "src"
SEED = 20270112
KILLS = 6

APPEND = """
import os, sys
from datetime import UTC, datetime
from pathlib import Path
from coldtake.domain import events as ev
from coldtake.domain.ids import named_id
from coldtake.storage.folder import sqlite_url
from coldtake.storage.log import SqlStore
from coldtake.storage.takes import FolderTakes

folder, run = Path(sys.argv[1]), sys.argv[2]
store, takes = SqlStore(sqlite_url(folder)), FolderTakes(folder / "takes")
now = datetime(2027, 1, 1, tzinfo=UTC)
n = 0
while True:
    n += 1
    one = named_id(run, str(n))
    sha256 = takes.keep(one, os.urandom(5000))
    data = ev.TakeRecorded(take_id=one, step_id="s", duration_s=1, sample_rate=8000, sha256=sha256)
    store.append([ev.Event(id=one, at=now, day=now.date(), data=data)])
    print(one, sha256, flush=True)
"""


def killed_after(folder: Path, run: int, lines: int, extra_bytes: int) -> list[str]:
    """Let a process append until so many lines are acknowledged, kill it, return all it said."""
    child = subprocess.Popen(
        [sys.executable, "-c", APPEND, str(folder), str(run)],
        env={**os.environ, "PYTHONPATH": str(SRC)},
        stdout=subprocess.PIPE,
        text=True,
    )
    said = [child.stdout.readline() for _ in range(lines)]
    said.append(child.stdout.read(extra_bytes))  # somewhere within the next rounds
    os.kill(child.pid, signal.SIGKILL)
    said.append(child.communicate()[0])
    assert child.returncode == -signal.SIGKILL
    return [line for line in "".join(said).splitlines() if len(line.split()) == 2]


def test_nothing_acknowledged_is_lost(tmp_path):
    chance = random.Random(SEED)
    acknowledged: dict[str, str] = {}
    for run in range(KILLS):
        lines = killed_after(tmp_path, run, chance.randint(1, 30), chance.randint(0, 300))
        acknowledged |= dict(line.split() for line in lines if len(line) == 36 + 1 + 64)
    store, takes = SqlStore(sqlite_url(tmp_path)), FolderTakes(tmp_path / "takes")
    kept = [event for _, event in store.events()]
    found = {event.id: event.data.sha256 for event in kept}
    assert len(kept) == len(found)
    assert acknowledged.items() <= found.items()
    assert len(found) - len(acknowledged) <= KILLS  # at most the one under way each time
    for take_id, sha256 in found.items():  # the log never speaks of a sound that is not there
        assert hashlib.sha256(takes.path(take_id).read_bytes()).hexdigest() == sha256
    store.close()
