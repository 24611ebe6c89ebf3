"""The record of repairs beside the log: one line each, never in the log (it is about this disk)."""

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import msgspec

from coldtake.domain.maintenance import Repair
from coldtake.durable import flush_file, flush_folder, private_file

NAME = "repairs.jsonl"


class Repairs:
    """The repairs of a data folder, oldest first. Raises OSError where it cannot be written."""

    def __init__(self, folder: Path, now: Callable[[], datetime]) -> None:
        self._file = folder / NAME
        self.now = now
        self.before = len(self.all())  # how many there were when it was opened

    def note(self, what: str, *, lost: int = 0, aside: str = "") -> Repair:
        """Write down a repair."""
        repair = Repair(at=self.now(), what=what, lost=lost, aside=aside)
        with private_file(self._file).open("ab") as file:
            file.write(msgspec.json.encode(repair) + b"\n")
        flush_file(self._file)
        flush_folder(self._file.parent)
        return repair

    def all(self) -> tuple[Repair, ...]:
        """Return every repair that can be read."""
        try:
            lines = self._file.read_bytes().splitlines()
        except FileNotFoundError:
            return ()
        return tuple(repair for line in lines if (repair := _read(line)))


def _read(line: bytes) -> Repair | None:
    try:
        return msgspec.json.decode(line, type=Repair)
    except ValueError:  # cut off by a crash; what it told is in the log's quarantine all the same
        return None
