"""`coldtake export`: everything in one archive."""

from argparse import Namespace
from pathlib import Path

from coldtake.cli.check import kept_file
from coldtake.cli.opened import ShownProgress, print_json, services_of
from coldtake.errors import InputError


def run(arguments: Namespace) -> int:
    """Write the archive and say what is in it."""
    target = Path(arguments.archive)
    if target.exists() and not arguments.replace:
        raise InputError(
            "A file of that name exists already.",
            where=str(target),
            remedy="Choose another name, or use --replace.",
        )
    with services_of(arguments, must_exist=True) as services:
        written = services.archiving.export(target, progress=ShownProgress())
        state = services.state()
    if arguments.json:
        print_json(written)
    else:
        print(
            f"{written.path}: {written.events} events, {written.takes} takes, "
            f"{written.passages} passages, {written.size_bytes / 1e6:.1f} MB, read back and checked"
        )
        for file_id in written.missing_takes:
            print(f"The {kept_file(state, file_id)} is missing. The log has the rest.")
    return 0
