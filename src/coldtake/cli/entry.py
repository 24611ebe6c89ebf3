"""From the words of the command line to an exit status; the one place where errors are printed.

Exit status: 0 done (listen: yes), 1 listen: no (check: something is amiss), 2 bad input, 3 listen:
cannot tell, 4 the data folder or database cannot be used, 70 a fault of Coldtake itself, 130
interrupted, 141 the reader of the output has gone.
"""

import gc
import os
import sys
import traceback
from collections.abc import Sequence
from importlib import import_module
from types import ModuleType

from coldtake.cli.parser import COMMANDS, DEFAULT, build_parser
from coldtake.errors import BusyError, ColdtakeError, InputError, JudgingError, StoreError

BAD_INPUT = 2
NO_STORE = 4
FAULT = 70  # EX_SOFTWARE of sysexits(3), "an internal software error" (4.3BSD, 1986)
INTERRUPTED = 130
NO_READER = 141  # as a shell says of a command that SIGPIPE ended: 128 and the signal's 13
_TOP_LEVEL = ("-h", "--help", "--version")


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; `serve` when none is named."""
    words = list(sys.argv[1:] if argv is None else argv)
    try:
        return _run(words)
    except ColdtakeError as error:
        print(f"coldtake: {error}", file=sys.stderr)
        return status_of(error)
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:  # the reader (`head`, a closed pager) has gone: nothing to say to it
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return NO_READER  # 0 would be a yes
    except Exception as fault:  # noqa: BLE001 - Python itself would exit with 1, which is a no
        traceback.print_exc()
        print(f"coldtake: {_fault_words(fault)}", file=sys.stderr)
        return FAULT


def _fault_words(fault: Exception) -> str:
    return (
        f"Coldtake failed ({type(fault).__name__}). There is no result. "
        "Report it with the lines above."
    )


def status_of(error: ColdtakeError) -> int:
    """Return the exit status of an error, as drawn in `coldtake.errors`."""
    if isinstance(error, JudgingError):
        return FAULT
    return NO_STORE if isinstance(error, (BusyError, StoreError)) else BAD_INPUT


def _imported(name: str) -> ModuleType:
    """Import a command. What modules make stays: to look through it for what may go is in vain."""
    gc.disable()
    try:
        return import_module(name)
    finally:
        gc.freeze()
        gc.enable()


def _run(words: list[str]) -> int:
    if words and not words[0].startswith("-") and words[0] not in COMMANDS:
        remedy = f"Use one of these: {', '.join(COMMANDS)}."
        raise InputError("This command is not known.", where=words[0], remedy=remedy)
    if not words or (words[0] not in COMMANDS and words[0] not in _TOP_LEVEL):
        words = [DEFAULT, *words]
    arguments = build_parser().parse_args(words)
    module = _imported(f"coldtake.cli.{COMMANDS[arguments.command]}")
    status: int = module.run(arguments)
    sys.stdout.flush()
    return status
