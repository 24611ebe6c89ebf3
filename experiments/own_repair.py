"""What our own reading of a damaged SQLite file brings beside SQLite itself.

    PYTHONPATH=src python experiments/own_repair.py [FILES]

A log of 400 entries, closed, damaged in one of four ways at seeded places. Counted: entries that
come back and are right, and entries given back that are not as they were written. Debian's command
`sqlite3` 3.40.1 is no rival: its `.recover` ends with "SQL logic error" on a whole file of two
rows. The numbers are in docs/decisions/own-repair.md.
"""

import contextlib
import random
import sqlite3
import sys
import tempfile
from collections import Counter
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from coldtake.domain import events as ev
from coldtake.domain.ids import named_id
from coldtake.storage.database.log import SqlStore
from coldtake.storage.folder import sqlite_url
from coldtake.storage.repair.carving import carve

ENTRIES = 400
NOON = datetime(2027, 1, 12, 12, tzinfo=UTC)


def _written(folder: Path) -> dict[str, str]:
    """Entries by id as they are written: every ninth is longer than a page."""
    store = SqlStore(sqlite_url(folder))
    for number in range(ENTRIES):
        words = f"intention {number} " + "x" * (9000 if number % 9 == 0 else number)
        data = ev.IntentionSet(session_id="s", slot_id=None, words=words)
        at = NOON + timedelta(minutes=number)
        store.append([ev.Event(id=named_id(str(number)), at=at, day=date(2027, 1, 12), data=data)])
    store.close()
    with sqlite3.connect(folder / "coldtake.db") as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        return dict(db.execute("SELECT id, body FROM log").fetchall())


def _damage(data: bytearray, way: str, rng: random.Random) -> bytearray:
    size = len(data)
    if way == "cut short":
        return data[: rng.randrange(size // 4, size)]
    if way == "first page gone":
        data[:4096] = bytes(4096)
    elif way == "ten bits turned":
        for _ in range(10):
            data[rng.randrange(4096, size)] ^= 1 << rng.randrange(8)
    else:
        for _ in range(5):
            at = 4096 * rng.randrange(1, size // 4096)
            data[at : at + 4096] = rng.randbytes(4096)
    return data


def _by_sql(path: Path) -> dict[str, str]:
    """What can be asked of SQLite itself, one entry at a time."""
    found: dict[str, str] = {}
    with contextlib.closing(sqlite3.connect(path)) as db:
        for sequence in range(1, ENTRIES + 1):
            with contextlib.suppress(sqlite3.Error, UnicodeDecodeError):
                query = "SELECT id, body FROM log WHERE sequence = ?"
                found |= dict(db.execute(query, (sequence,)).fetchall())
    return found


def main(files: int) -> None:
    told: dict[str, Counter] = {}
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        right = _written(home)
        whole = (home / "coldtake.db").read_bytes()
        for way in ("cut short", "first page gone", "ten bits turned", "five pages overwritten"):
            for seed in range(files):
                path = home / "damaged.db"
                path.write_bytes(_damage(bytearray(whole), way, random.Random(seed)))
                carved = {c["id"]: c["body"] for c in carve(path).entries.values()}
                for name, found in (("ours", carved), ("SQL", _by_sql(path))):
                    count = told.setdefault(f"{way}, {name}", Counter())
                    count["right"] += sum(right.get(i) == body for i, body in found.items())
                    count["wrong"] += sum(right.get(i) != body for i, body in found.items())
    for name, count in told.items():
        print(
            f"{name}: {count['right'] / files:.1f} of {ENTRIES} right, "
            f"{count['wrong'] / files:.1f} wrong"
        )


if __name__ == "__main__":
    main(int((sys.argv[1:2] or ["12"])[0]))
