"""The worker's side, run by path: `python -P child_main.py MODULE MEMORY_BYTES`.

It takes its limits, gives up sockets and programs, then answers jobs until stdin ends. What
libraries write to stdout or stderr goes along with the answer.
"""

import os
import sys
import traceback
from importlib import import_module
from pathlib import Path
from typing import Any, BinaryIO

sys.path.insert(0, str(Path(__file__).parents[2]))

from coldtake.errors import ColdtakeError
from coldtake.subprocesses import runtime, walls
from coldtake.subprocesses.frames import receive, send

_WRITTEN_MOST = 1 << 20  # bytes in any file; only the libraries' own words are written
_GRACE_S = 5.0  # the parent ends a job that takes too long; this is for a parent that has died


def main() -> None:
    """Answer jobs until stdin ends."""
    answers = os.fdopen(os.dup(1), "wb")
    runtime.listen_to_libraries()
    runtime.limit(int(sys.argv[2]), _WRITTEN_MOST)
    walls.give_up()
    do = import_module(sys.argv[1]).do
    while (got := receive(sys.stdin.buffer)) is not None:
        asked, body = got
        runtime.alarm(asked["seconds"] + _GRACE_S, asked["cpu_s"])
        said, found = _done(do, asked["job"], body, answers)
        runtime.alarm(0.0, 0.0)
        send(answers, {**said, "log": runtime.words()}, found)
        del said, found, asked, body, got


def _done(
    do: Any, job: dict[str, Any], body: bytes, answers: BinaryIO
) -> tuple[dict[str, Any], bytes]:
    def tell(share: float) -> None:
        send(answers, {"share": share})

    try:
        answer, found = do(job, body, tell)
    except ColdtakeError as refusal:
        said = {"what": refusal.what, "where": refusal.where, "remedy": refusal.remedy}
        return {"refused": {"kind": type(refusal).__name__, **said}}, b""
    except (MemoryError, SystemError):
        # The interpreter itself that finds no memory, for example in the middle of an import, has
        # no exception left to raise and says only that: SystemError.
        return {"lost": "memory"}, b""
    except Exception:  # noqa: BLE001 - the asking process raises it with this traceback
        return {"broke": traceback.format_exc()}, b""
    return {"answer": answer}, found


if __name__ == "__main__":
    main()
