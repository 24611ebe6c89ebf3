"""`coldtake rejudge`: listen again to takes that an older listener has judged."""

from argparse import Namespace

from coldtake.cli.opened import ShownProgress, print_json, services_of


def run(arguments: Namespace) -> int:
    """Listen, take by take; stopped by Ctrl-C it goes on another time where it was."""
    from coldtake.practice.rejudging import rejudge

    with services_of(arguments) as services:
        done = rejudge(services.takes, ShownProgress())
        if arguments.json:
            print_json({"takes": done.takes, "changed": done.changed, "unheard": done.unheard})
            return 0
    print(done.words)
    for take_id, why in done.unheard:
        print(f"Take {take_id}: {why}")
    return 0
