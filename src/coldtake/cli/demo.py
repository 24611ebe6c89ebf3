"""`coldtake demo`: the example, into an empty data folder."""

from argparse import Namespace

from coldtake.cli.opened import ShownProgress, print_json, services_of


def run(arguments: Namespace) -> int:
    """Fill an empty data folder with the example."""
    from coldtake.bootstrap import fill_with_demo

    with services_of(arguments) as services:
        fill_with_demo(services, ShownProgress())
        state = services.state()
    counts = {
        "topics": len(state.topics),
        "sessions": len(state.sessions),
        "tries": len(state.tries),
        "takes": len(state.takes),
    }
    if arguments.json:
        print_json(counts)
    else:
        print("The example is ready: " + ", ".join(f"{n} {name}" for name, n in counts.items()))
        print("Start the app with `coldtake` to open it.")
    return 0
