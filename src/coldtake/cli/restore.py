"""`coldtake restore`: an archive, or an automatic copy, back into a data folder."""

from argparse import Namespace
from pathlib import Path
from typing import TYPE_CHECKING

from coldtake.cli.check import kept_file
from coldtake.cli.opened import ShownProgress, print_json, services_of

if TYPE_CHECKING:
    from coldtake.domain.history.state import State
    from coldtake.practice.archive import Restored


def run(arguments: Namespace) -> int:
    """Bring it back and say what came."""
    from coldtake.bootstrap import source_of

    with (
        source_of(Path(arguments.archive)) as source,
        services_of(arguments, new_log=True) as services,
    ):
        brought = services.archiving.restore(
            source, merge=arguments.merge, progress=ShownProgress()
        )
        state = services.state()
    if arguments.json:
        print_json(brought)
    else:
        print("\n".join(lines_of(brought, state)))
    return 0


def lines_of(brought: "Restored", state: "State") -> list[str]:
    """Say in words what a restore brought."""
    known = f" ({brought.known} were already here)" if brought.known else ""
    lines = [f"Restored {brought.events} log entries{known} and {brought.takes} takes."]
    lines += [
        f"The {kept_file(state, i)} is missing in it. The log has the rest."
        for i in brought.missing_takes
    ]
    lines += [
        f"The {kept_file(state, i)} is damaged in it and was not restored."
        for i in brought.damaged_takes
    ]
    if brought.misdated:
        lines.append(f"{brought.misdated} entries have a wrong date. Open “Your data” in the app.")
    lines += [
        f"The setting {name} is not valid; its default is used." for name in brought.not_valid
    ]
    return lines
