"""Run a script in a process of its own, made by fork so that everything is imported already, and
kill it at a random moment; what it acknowledged until then is read from a pipe.
"""

import math
import os
import random
import select
import shutil
import signal
import tempfile
import time
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

Say = Callable[[str], None]
Script = Callable[[Path, random.Random, Say], None]
_SHARED_MEMORY = Path("/dev/shm")


@contextmanager
def quick_folder() -> Iterator[Path]:
    """Give a folder in memory where there is one: a killed process leaves there what it wrote."""
    place = _SHARED_MEMORY if _SHARED_MEMORY.is_dir() else None
    folder = Path(tempfile.mkdtemp(prefix="ct-kill-", dir=place))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def killed(
    script: Script, folder: Path, chance: random.Random, *, within_s: float, lines: int | None = 0
) -> tuple[list[str], bool]:
    """Run a script and kill it; return what it said, and whether it had ended by itself before.

    It is killed at a random moment within so many seconds after it said "begun" and up to `lines`
    lines more (None: never): what it has done by then does not hang on how busy the machine is.
    """
    reading, writing = os.pipe()
    seed, moment = chance.random(), chance.uniform(0.0, within_s)
    wanted = math.inf if lines is None else 1 + chance.randint(0, lines)
    child = os.fork()
    if child == 0:
        os.close(reading)
        _run(script, folder, random.Random(seed), writing)
    os.close(writing)
    said = _listen(reading, child, wanted, moment)
    _, status = os.waitpid(child, 0)
    os.close(reading)
    assert os.WIFSIGNALED(status) or os.WEXITSTATUS(status) == 0, said
    return [line for line in said.split("\n")[:-1] if line != "begun"], os.WIFEXITED(status)


def ran(script: Script, folder: Path, chance: random.Random) -> list[str]:
    """Run a script to its end, however long that takes; return what it said."""
    said, ended = killed(script, folder, chance, within_s=0.0, lines=None)
    assert ended
    return said


def _listen(reading: int, child: int, wanted: float, moment: float) -> str:
    """Read until the child ends; kill it that long after so many lines."""
    said, until = b"", None
    while True:
        now = time.monotonic()
        if until is None and said.count(b"\n") >= wanted:
            until = now + moment
        if until is not None and now >= until:
            os.kill(child, signal.SIGKILL)
            until, wanted = None, math.inf  # what it said before is read to its end
        if select.select([reading], [], [], until and until - now)[0]:
            part = os.read(reading, 65536)
            if not part:
                return said.decode()
            said += part


def _run(script: Script, folder: Path, chance: random.Random, writing: int) -> None:
    """Be the child: never return, never run what the parent has to clean up."""
    try:
        script(folder, chance, lambda line: os.write(writing, f"{line}\n".encode()) and None)
    except BaseException:  # noqa: BLE001 - told to whoever reads the pipe, whatever it is
        os.write(writing, traceback.format_exc().encode())
        os._exit(3)
    os._exit(0)
