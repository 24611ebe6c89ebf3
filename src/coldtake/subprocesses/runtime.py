"""What a worker process knows of itself."""

import os
import signal
import sys
import tempfile
from typing import IO

_WORDS_MOST = 20_000
OUT_OF_CPU = getattr(signal, "SIGPROF", -1)  # what ends a process then
_log: IO[bytes] | None = None


def active() -> bool:
    """Say whether this process is a worker, so that it starts none of its own."""
    return _log is not None


def listen_to_libraries() -> None:
    """Turn stdout and stderr, on which libraries speak, into a small file of our own."""
    global _log  # one per process, as stdout is
    _log = tempfile.TemporaryFile()  # noqa: SIM115 - open as long as the process
    for number in (1, 2):
        os.dup2(_log.fileno(), number)


def words() -> str:
    """Take what the libraries have said since the last time."""
    if _log is None:
        return ""
    sys.stdout.flush()
    _log.seek(0)
    said = _log.read(_WORDS_MOST).decode("utf-8", "replace")
    _log.seek(0)
    _log.truncate()
    return said


def limit(memory: int, written: int) -> None:
    """Limit memory and the size of any file [bytes], where the system knows such limits."""
    try:
        import resource
    except ImportError:  # Windows: there only time is watched
        return
    # Linux counts what is really taken as DATA; macOS takes the call and does not hold to it.
    resource.setrlimit(resource.RLIMIT_DATA, (memory, memory))
    resource.setrlimit(resource.RLIMIT_FSIZE, (written, written))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def alarm(seconds: float, cpu_s: float) -> None:
    """End this process after so long, whether or not anybody is left to do it; 0 takes it back.

    seconds : by the clock; cpu_s : of the processor
    """
    if hasattr(signal, "setitimer"):
        signal.setitimer(signal.ITIMER_REAL, seconds)
        signal.setitimer(signal.ITIMER_PROF, cpu_s)
