"""Background tasks: one at a time, each tells its progress and can be stopped between units.

A job is a function that is given a `ports.Progress` and returns what there is to say when it is
done. It keeps what it has finished, so that begun again it goes on where it stopped; when the
progress says no, it raises `ports.Cancelled` or `subprocesses.WorkerCancelled` and leaves nothing
half done.
"""

import logging
import threading
from collections.abc import Callable
from contextvars import copy_context
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import partial

from coldtake.errors import BusyError, ColdtakeError
from coldtake.ports import Cancelled, Progress
from coldtake.practice.access import Action, needs
from coldtake.subprocesses import WorkerCancelled

log = logging.getLogger(__name__)

OWN_FAULT = ColdtakeError(
    "Coldtake could not finish this.", remedy="What was finished is saved. Start the task again."
)
_CLOSING_S = 10.0


class Stage(StrEnum):
    """Where a job stands."""

    RUNNING = "running"
    STOPPING = "stopping"
    DONE = "done"
    STOPPED = "stopped"
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class Job:
    """One piece of long work as it stands.

    kind : names what is done, for whoever looks for a job of its own; title : in the player's words
    done, total, words : as `ports.Progress` was told; when it has ended, words say what came of it
    page : where its result is seen
    """

    kind: str
    title: str
    page: str = ""
    done: int = 0
    total: int = 0
    words: str = ""
    stage: Stage = Stage.RUNNING
    fault: ColdtakeError | None = None

    @property
    def running(self) -> bool:
        """True until it has ended."""
        return self.stage in (Stage.RUNNING, Stage.STOPPING)

    @property
    def share(self) -> float | None:
        """How much of it is done, 0..1; None while nobody knows."""
        return min(self.done / self.total, 1.0) if self.total > 0 else None


Work = Callable[[Progress], str]


class Jobs:
    """The job that runs, or the last one that ended until somebody has seen it. Thread-safe."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._job: Job | None = None
        self._thread: threading.Thread | None = None
        self.closing = False  # the program ends: whatever stops now shall go on another time

    @needs(Action.RUN_TASKS)
    def start(self, kind: str, title: str, work: Work, *, page: str = "") -> Job:
        """Begin a job. Raises BusyError while another one runs."""
        with self._lock:
            if self._job is not None and self._job.running:
                raise BusyError(
                    f"“{self._job.title}” is still running.",
                    remedy="Wait for its end or stop it. Then start this task.",
                )
            job = self._job = Job(kind, title, page)
            # as whoever began it: what a request is bound to goes with its context
            run = partial(copy_context().run, self._run, work)
            thread = self._thread = threading.Thread(target=run, name=kind, daemon=True)
        thread.start()
        return job

    @needs(Action.SEE)
    def now(self, kind: str = "") -> Job | None:
        """Return the job as it stands (of that kind), None when there is none to speak of."""
        job = self._job
        return None if job is None or (kind and job.kind != kind) else job

    @needs(Action.RUN_TASKS)
    def stop(self) -> None:
        """Ask the job to stop after the unit it is at; what is done stays done."""
        self._note(lambda job: replace(job, stage=Stage.STOPPING))

    @needs(Action.RUN_TASKS)
    def seen(self) -> None:
        """Forget a job that has ended."""
        with self._lock:
            if self._job is not None and not self._job.running:
                self._job = None

    def wait(self, seconds: float | None = None) -> None:
        """Wait until the job has ended."""
        thread = self._thread
        if thread is not None:
            thread.join(seconds)

    def close(self) -> None:
        """Stop what runs and wait for it."""
        self.closing = True
        self.stop()
        self.wait(_CLOSING_S)

    def step(self, done: int, total: int, words: str) -> bool:
        """Take note of progress (`ports.Progress` for the work); False once it shall stop."""
        self._note(lambda job: replace(job, done=done, total=total, words=words))
        job = self._job
        return job is not None and job.stage is Stage.RUNNING

    def _run(self, work: Work) -> None:
        try:
            words = work(self)
            self._note(lambda job: replace(job, stage=Stage.DONE, done=job.total, words=words))
        except (Cancelled, WorkerCancelled):
            self._note(lambda job: replace(job, stage=Stage.STOPPED))
        except ColdtakeError as fault:
            self._fail(fault)
        except Exception:
            log.exception("background task failed")
            self._fail(OWN_FAULT)

    def _fail(self, fault: ColdtakeError) -> None:
        self._note(lambda job: replace(job, stage=Stage.FAILED, fault=fault))

    def _note(self, change: Callable[[Job], Job]) -> None:
        with self._lock:
            if self._job is not None and self._job.running:
                self._job = change(self._job)
