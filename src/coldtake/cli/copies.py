"""`coldtake copies`: the automatic copies of the log; where they go; one more, now."""

from argparse import Namespace
from pathlib import Path

from coldtake.cli.opened import print_json, services_of
from coldtake.errors import InputError


def run(arguments: Namespace) -> int:
    """List the copies, after choosing their folder or making one where that was asked."""
    with services_of(arguments, must_exist=True) as services:
        care = services.care
        assert care is not None
        if care.copies_to() is None:
            raise InputError(
                "The log is in a database server.",
                remedy="Use that server's backups (pg_dump), or coldtake export.",
            )
        if arguments.to is not None:
            care.choose_folder(Path(arguments.to) if arguments.to else None)
        if arguments.now or arguments.to:
            care.copy()
        copies, folder = care.copies(), care.copies_to()
    if arguments.json:
        print_json({"folder": str(folder), "copies": copies})
        return 0
    print(f"Backup folder: {folder}")
    for copy in copies:
        what = f", before the upgrade to {copy.before}" if copy.before else ""
        print(f"{copy.day.isoformat()}  {copy.size_bytes / 1e6:.1f} MB  {copy.name}{what}")
    if not copies:
        print("No backup yet. The app makes one a day; --now makes one at once.")
    return 0
