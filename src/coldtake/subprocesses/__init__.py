"""Work on what came from outside, in a process of its own: the one home of that.

A file that somebody sent can be made to eat memory, to never end, or to bring down the library that
reads it. So it is read in a worker process with a limit of time and of memory, which writes no
files and is replaced when it is lost; the process that serves the pages only gets the answer.

A worker is a module with `do(job, body, tell) -> (answer, body)`: `job` and `answer` are JSON,
`body` is bytes; nothing that a worker says is ever executed (no pickle). Refusals come through as
the house's own errors; a fault of the program comes through as `Broken`, one of the ways of
being `WorkerFailed`, so that whoever asks refuses in words whatever happened in there.
"""

from coldtake.subprocesses.worker import (
    Broken,
    Limits,
    ProgressCallback,
    WorkerCancelled,
    WorkerClient,
    WorkerFailed,
)

__all__ = [
    "Broken",
    "Limits",
    "ProgressCallback",
    "WorkerCancelled",
    "WorkerClient",
    "WorkerFailed",
]
