"""The asking side: processes started at first use, kept, replaced when lost, ended when idle."""

import atexit
import contextlib
import logging
import math
import os
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, cast

from coldtake.errors import InputError, PassageError, RuleError, SoundError
from coldtake.subprocesses import runtime
from coldtake.subprocesses.frames import receive, send

log = logging.getLogger(__name__)

ProgressCallback = Callable[[float], bool]
_IDLE_S = 300.0
_JOBS_MOST = 500  # a process that has read so many files is replaced before it has grown
_ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
_KINDS = {kind.__name__: kind for kind in (InputError, PassageError, SoundError, RuleError)}
_CHILD = Path(__file__).with_name("child_main.py")


@dataclass(frozen=True, slots=True)
class Limits:
    """What one process may take.

    seconds : for one job, by the clock, or as many as the job says
    cpu_s : of the processor, for a job that says nothing; on a busy machine the clock runs on
    memory_bytes : of the process
    """

    seconds: float = 30.0
    memory_bytes: int = 1_000_000_000
    cpu_s: float = math.inf


class WorkerFailed(Exception):  # noqa: N818 - the caller says it in the words of its room
    """The worker did not come through: `why` is time, memory, end (it died) or fault."""

    def __init__(self, why: str, details: str = "") -> None:
        super().__init__(f"{why} {details}".strip())
        self.why = why


class Broken(WorkerFailed):
    """A fault of the program: the worker lives, and gave its traceback, which is logged."""


class WorkerCancelled(Exception):  # noqa: N818 - it is no fault
    """Whoever was told of the progress asked to stop; the process is gone."""


@dataclass(slots=True)
class _Process:
    """One process and how many jobs it has done; `late` once its time was up."""

    popen: subprocess.Popen[bytes]
    jobs: int = 0
    late: bool = False

    @property
    def pipes(self) -> tuple[BinaryIO, BinaryIO]:
        """Where jobs go in and answers come out."""
        return cast(BinaryIO, self.popen.stdin), cast(BinaryIO, self.popen.stdout)

    def out_of_time(self) -> bool:
        """Say whether it was ended because its time was up: by the clock, or of the processor."""
        if self.late:
            return True
        with contextlib.suppress(subprocess.TimeoutExpired):
            return self.popen.wait(1.0) == -runtime.OUT_OF_CPU
        return False

    def give_up(self) -> None:
        """End a job whose time is up."""
        self.late = True
        self.popen.kill()

    def end(self) -> None:
        """End it and let go of its pipes."""
        self.popen.kill()
        for pipe in self.pipes:
            with contextlib.suppress(OSError):  # words that still waited for the dead process
                pipe.close()
        self.popen.wait()


class WorkerClient:
    """A few processes of one kind. Safe to use from several threads; further askers wait."""

    def __init__(self, module: str, limits: Limits | None = None, *, processes: int = 2) -> None:
        self.module = module
        self.limits = limits or Limits()
        self.lost = 0  # processes that did not come through, since the start
        self._turns = threading.BoundedSemaphore(processes)
        self._lock = threading.Lock()
        self._idle: list[_Process] = []
        self._timer: threading.Timer | None = None
        atexit.register(self.stop)

    def ask(
        self,
        job: dict[str, Any],
        body: bytes = b"",
        *,
        seconds: float | None = None,
        tell: ProgressCallback | None = None,
    ) -> tuple[Any, bytes, str]:
        """Have one job done: (answer, bytes, the libraries' own words).

        Raises the refusal of the worker, Lost (Broken for a fault of the program), and Stopped when
        `tell` returns False.
        """
        limit = seconds or self.limits.seconds
        cpu_s = limit if seconds else min(limit, self.limits.cpu_s)
        with self._turns, self._process() as process:
            timer = threading.Timer(limit, process.give_up)
            timer.daemon = True
            timer.start()
            try:
                asked = {"job": job, "seconds": limit, "cpu_s": cpu_s}
                said, found = _exchange(process, asked, body, tell)
            except (OSError, EOFError, ValueError) as fault:
                raise WorkerFailed("time" if process.out_of_time() else "end") from fault
            finally:
                timer.cancel()
            if "lost" in said:
                raise WorkerFailed(str(said["lost"]))
        return _answer(said), found, said.get("log", "")

    def stop(self) -> None:
        """End all that are idle; they start again at the next job."""
        with self._lock:
            if self._timer is not None:
                self._timer.cancel()
            idle, self._idle = self._idle, []
        for process in idle:
            process.end()

    @contextlib.contextmanager
    def _process(self) -> Iterator[_Process]:
        """Give a running process; one that is lost over its job, or old, is ended."""
        process = self._taken() or self._started()
        try:
            yield process
        except BaseException:  # half an answer would be taken for the next one
            self.lost += 1
            process.end()
            raise
        process.jobs += 1
        if process.jobs >= _JOBS_MOST:
            process.end()
        else:
            self._put_back(process)

    def _taken(self) -> _Process | None:
        with self._lock:
            while self._idle:
                process = self._idle.pop()
                if process.popen.poll() is None:
                    return process
                process.end()
        return None

    def _put_back(self, process: _Process) -> None:
        with self._lock:
            self._idle.append(process)
            if self._timer is not None:
                self._timer.cancel()
            self._timer = threading.Timer(_IDLE_S, self.stop)
            self._timer.daemon = True
            self._timer.start()

    def _started(self) -> _Process:
        memory = str(self.limits.memory_bytes)
        return _Process(
            subprocess.Popen(
                [sys.executable, "-P", str(_CHILD), self.module, memory],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                start_new_session=True,  # Ctrl-C is for the program, which then ends this
                env={**os.environ, **dict.fromkeys(_ONE_THREAD, "1")},
            )
        )


def _exchange(
    process: _Process, job: dict[str, Any], body: bytes, tell: ProgressCallback | None
) -> tuple[dict[str, Any], bytes]:
    jobs, answers = process.pipes
    send(jobs, job, body)
    while (got := receive(answers)) is not None:
        said, found = got
        if "share" not in said:
            return said, found
        if tell is not None and not tell(float(said["share"])):
            raise WorkerCancelled
    raise EOFError


def _answer(said: dict[str, Any]) -> Any:
    if "answer" in said:
        return said["answer"]
    if "refused" in said:
        told = said["refused"]
        kind = _KINDS.get(told["kind"], InputError)
        raise kind(told["what"], where=told["where"], remedy=told["remedy"])
    traceback = str(said.get("broke", said))
    log.error("a worker broke:\n%s", traceback)
    raise Broken("fault", traceback)
