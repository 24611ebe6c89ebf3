"""What the commands that need the data folder share."""

import sys
from argparse import Namespace
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from coldtake.practice.services import Services


@contextmanager
def services_of(arguments: Namespace) -> "Iterator[Services]":
    """Open the data folder that was named, and close it again."""
    from coldtake.bootstrap import open_services

    services = open_services(Path(arguments.data) if arguments.data else None)
    tell_repairs(services)
    try:
        yield services
    finally:
        services.close()


def tell_repairs(services: "Services") -> None:
    """Say what had to be put right at the opening, where the person looks."""
    for repair in services.care.fresh() if services.care else ():
        print(repair.what, file=sys.stderr)


class ShownProgress:
    """`ports.Progress` on one line of the terminal; nothing where nobody looks."""

    def __init__(self) -> None:
        self._shown = sys.stderr.isatty()

    def step(self, done: int, total: int, words: str) -> bool:
        """Show how far the work has come; Ctrl-C is how one stops it."""
        if self._shown:
            end = "\n" if done >= total else ""
            print(f"\r\x1b[K{done} of {total}: {words}", end=end, file=sys.stderr, flush=True)
        return True


def print_json(record: Any) -> None:
    """Print a record, or lists and dictionaries of records, as readable JSON."""
    import msgspec

    print(msgspec.json.format(msgspec.json.encode(record)).decode())
