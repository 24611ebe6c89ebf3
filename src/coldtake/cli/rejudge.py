"""`coldtake rejudge`: judge again what an older listener judged, and what has no verdict."""

from argparse import Namespace

from coldtake.cli.entry import FAULT
from coldtake.cli.opened import ShownProgress, print_json, services_of


def run(arguments: Namespace) -> int:
    """Judge, take by take; stopped by Ctrl-C it goes on another time where it was."""
    from coldtake.practice.rejudging import rejudge

    with services_of(arguments) as services:
        done = rejudge(services.takes, ShownProgress())
        if arguments.json:
            print_json({"takes": done.takes, "changed": done.changed, "unheard": done.unheard})
        else:
            print(done.words)
            for take_id, why in done.unheard:
                print(f"Take {take_id}: {why}")
    return FAULT if done.failed else 0
