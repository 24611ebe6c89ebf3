"""`coldtake check`: every entry and every take against its checksum; damage is put right."""

from argparse import Namespace
from collections.abc import Sequence
from typing import TYPE_CHECKING

from coldtake.cli.opened import ShownProgress, print_json, services_of

if TYPE_CHECKING:
    from coldtake.domain.history.state import State
    from coldtake.domain.maintenance import Checkup, Repair

AMISS = 1


def run(arguments: Namespace) -> int:
    """Check the data folder; exit with 1 where something is amiss that could not be put right."""
    with services_of(arguments, must_exist=True) as services:
        assert services.care is not None
        before = len(services.care.repairs())
        checkup = services.care.check(ShownProgress())
        state = services.state()
        repairs = services.care.repairs()
        not_valid = services.settings.not_valid()
        waiting = sum(len(group.entries) for group in services.misdated.groups())
    if arguments.json:
        print_json({"checkup": checkup, "sound": checkup.sound, "repairs": repairs})
    else:
        print("\n".join(lines_of(checkup, repairs[before:], state)))
        for name, text in not_valid.items():
            print(f"The setting {name} is “{text[:20]}”, which is not valid; its default is used.")
        if waiting:
            print(f"{waiting} entries have a wrong date. Open “Your data” in the app.")
    return 0 if checkup.sound else AMISS


def kept_file(state: "State", file_id: str) -> str:
    """Name a file that lies with the takes: the recording of one, or pages of a topic."""
    pages = state.page_files.get(file_id)
    return f"recording of take {file_id}" if pages is None else f"file of pages “{pages.name}”"


def lines_of(checkup: "Checkup", repaired: "Sequence[Repair]", state: "State") -> list[str]:
    """Say in words what was found."""
    lines = [f"Checked: {checkup.events} log entries, {checkup.heard_of} of {checkup.takes} takes."]
    lines += [repair.what for repair in repaired]
    lines += checkup.remarks
    lines += [f"The {kept_file(state, i)} is missing." for i in checkup.missing]
    lines += [f"The {kept_file(state, i)} is damaged." for i in checkup.damaged]
    if checkup.missing or checkup.damaged:
        lines.append("Restore an export that has them: coldtake restore FILE.")
    if checkup.strays:
        lines.append(
            f"{len(checkup.strays)} files belong to no take and no page of the log. They stay."
        )
    if checkup.sound:
        lines.append("No problems found.")
    return lines
