"""What if: a supposition is looked into in the background, first numbers at once, then better ones.

One at a time: another question ends the one before. Nothing goes into the log.
"""

import threading
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from coldtake.domain.instants import check_date
from coldtake.ports import Cancelled, Progress
from coldtake.practice.access import Action, needs
from coldtake.practice.jobs import Job, Jobs, Stage
from coldtake.practice.reports.reports import ReportService
from coldtake.practice.state.evidence_mark import EvidenceMark
from coldtake.practice.state.log import Log

if TYPE_CHECKING:
    from coldtake.planning.what_if.comparison import WhatIfFound
    from coldtake.planning.what_if.what_if_scenario import WhatIf

_FIRST_S = 20.0  # longest wait for first numbers; they usually take a fraction of a second
KIND = "what if"


@dataclass(frozen=True, slots=True)
class WhatIfAnswer:
    """What is known so far; `found` None: nothing to look at. `job` says how far it is."""

    found: "WhatIfFound | None"
    job: Job

    @property
    def running(self) -> bool:
        """Say whether better numbers come."""
        return self.job.running


class WhatIfService:
    """Answers questions of the kind “what if”. Thread-safe."""

    def __init__(self, log: Log, looking: ReportService) -> None:
        self._log, self._looking = log, looking
        self._mark = EvidenceMark(log)
        self._jobs = Jobs()
        self._asking = threading.Lock()
        self._first = threading.Event()
        self._key: tuple[int, date, bytes] | None = None
        self._found: WhatIfFound | None = None

    @needs(Action.SEE)
    def ask(self, supposed: "WhatIf", *, again: bool = False) -> WhatIfAnswer:
        """Return what is known by now; the first time waits for the first numbers.

        again : begin anew where it was stopped. Raises InputError for a topic that is not there.
        """
        import msgspec

        from coldtake.planning.what_if.what_if_scenario import check

        check(self._log.state(), supposed)
        self._check_dates(supposed)
        with self._asking:
            key = (*self._mark.now(), msgspec.json.encode(supposed))
            job = self._jobs.now()
            if key != self._key or job is None or (again and job.stage is Stage.STOPPED):
                job = self._begin(supposed, key)
        self._first.wait(_FIRST_S)
        job = self._jobs.now() or job
        if job.fault is not None:
            raise job.fault
        return WhatIfAnswer(self._found, job)

    def _check_dates(self, supposed: "WhatIf") -> None:
        for day in (*supposed.dates.values(), supposed.free_from):
            if day is not None:
                check_date(day, self._log.today(), "what if")

    @needs(Action.SEE)
    def answer(self, supposed: "WhatIf", progress: Progress | None = None) -> "WhatIfFound":
        """Look into it to the end. Raises InputError for a topic that is not there."""
        from coldtake.planning.what_if.comparison import what_if

        self._check_dates(supposed)
        ahead = self._looking.ahead()
        with self._log.learned.used():
            return what_if(
                self._log.state(), self._log.today(), supposed, ahead=ahead, progress=progress
            )

    @needs(Action.RUN_TASKS)
    def stop(self) -> None:
        """Be content with what is known by now."""
        self._jobs.stop()
        self._jobs.wait(_FIRST_S)

    def close(self) -> None:
        """Stop what runs and wait for it."""
        self._jobs.close()

    def _begin(self, supposed: "WhatIf", key: tuple[int, date, bytes]) -> Job:
        self.stop()
        self._first.clear()
        self._key, self._found = key, None
        return self._jobs.start(KIND, "What if", lambda progress: self._look(supposed, progress))

    def _look(self, supposed: "WhatIf", progress: Progress) -> str:
        from coldtake.planning.what_if.comparison import BATCHES, DRAWS, refined

        try:
            ahead = self._looking.ahead()
            with self._log.learned.used():
                batches = refined(self._log.state(), self._log.today(), supposed, ahead)
                for done, found in enumerate(batches, start=1):
                    self._found = found
                    self._first.set()
                    words = f"{found.draws} of {BATCHES * DRAWS} simulations"
                    if not progress.step(done, BATCHES, words) and done < BATCHES:
                        raise Cancelled
        finally:
            self._first.set()
        return f"{self._found.draws} simulations" if self._found else ""
