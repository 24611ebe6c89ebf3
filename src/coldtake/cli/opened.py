"""What the commands share: the data folder, files that are named, what is printed."""

import os
import sys
from argparse import Namespace
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coldtake.errors import InputError, StoreError

if TYPE_CHECKING:
    from coldtake.practice.services import Services


@contextmanager
def services_of(
    arguments: Namespace, *, new_log: bool = False, must_exist: bool = False
) -> "Iterator[Services]":
    """Open the data folder that was named, as its player, and close it again.

    new_log : also one that lost its log; must_exist : only one that has one. Raises StoreError.
    """
    from coldtake.bootstrap import open_services

    if must_exist:
        _check_exists(arguments.data)
    house = open_services(Path(arguments.data) if arguments.data else None, new_log=new_log)
    services = house.own()
    tell_repairs(services)
    tell_amiss(services)
    try:
        yield services
    finally:
        house.close()


def _check_exists(data: str | None) -> None:
    """Raise StoreError where there is no log to look at; nothing is made then."""
    from coldtake.storage.database.log import DATABASE
    from coldtake.storage.folder import LOG_NAME, data_path

    folder = data_path(data)
    if not os.environ.get(DATABASE) and not folder.is_dir():
        raise StoreError(
            "This data folder was not found.",
            where=str(folder),
            remedy=f"Use --data with the folder that has {LOG_NAME}.",
        )


def tell_repairs(services: "Services") -> None:
    """Say what had to be put right at the opening, where the person looks."""
    for repair in services.care.fresh() if services.care else ():
        print(repair.what, file=sys.stderr)


def tell_amiss(services: "Services") -> None:
    """Say where nothing can be saved, before anybody relies on it."""
    amiss = services.amiss()
    if amiss:
        print(amiss, file=sys.stderr)


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


def file_bytes(path: Path, most: int, too_large: Callable[[int], InputError]) -> bytes:
    """Read a file that was named. Raises InputError; `too_large` of its size where it has more."""
    try:
        size = path.stat().st_size
        if size > most:
            raise too_large(size)
        return path.read_bytes()
    except OSError as fault:
        raise InputError.of_file(fault, path.name) from fault
