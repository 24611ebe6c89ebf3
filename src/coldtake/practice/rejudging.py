"""Judging takes in the background: those of an older listener again, those without a verdict.

Verdicts are appended, one take at a time; so what is done stays done, and begun again it goes on
with those that are left. What has no verdict, because judging failed or the program ended over it,
is judged at the next start.
"""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from functools import partial

from coldtake.errors import BusyError, JudgingError, NotFoundError, RuleError
from coldtake.ports import Cancelled, DerivedCache, Progress, Store
from coldtake.practice.access import Action, needs
from coldtake.practice.jobs import Job, Jobs
from coldtake.practice.sessions.takes import Takes
from coldtake.subprocesses import ProgressCallback, WorkerCancelled

KIND = "rejudge"
TITLE = "Judging again"
FIRST = "Judging takes"
_NOTE = "long work"  # on the shelf
_PARTS = 100  # steps of progress within one take


@dataclass(frozen=True, slots=True)
class Rejudged:
    """takes : judged; changed : of these, with a new verdict now; unheard : (id, why).

    failed : ids of the unheard ones over which Coldtake itself failed
    """

    takes: int
    changed: tuple[str, ...]
    unheard: tuple[tuple[str, str], ...]
    failed: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """What there is to say of it."""
        heard = f"{self.takes} take{'s' * (self.takes != 1)} judged again"
        parts = [f"{len(self.changed)} with a new verdict"] if self.takes else []
        if self.unheard:
            parts.append(f"{len(self.unheard)} could not be judged, earlier verdicts stay")
        return f"{', '.join((heard, *parts))}."


def rejudge(takes: Takes, progress: Progress, ids: Sequence[str] | None = None) -> Rejudged:
    """Judge these takes; by default all without a verdict and all of an older listener.

    Raises Cancelled, StoreError.
    """
    ids = (*takes.waiting(), *takes.outdated()) if ids is None else ids
    changed: list[str] = []
    unheard: list[tuple[str, str]] = []
    failed: list[str] = []
    for number, take_id in enumerate(ids):
        before = takes.get(take_id).verdict
        tell = _watched(progress, number, len(ids))
        if not tell(0.0):
            raise Cancelled
        try:
            # One without a verdict may have got its verdict meanwhile.
            listen = takes.judge if before is None else takes.rejudge
            answer = listen(take_id, tell).answer
        except WorkerCancelled:
            raise Cancelled from None
        except (NotFoundError, JudgingError) as fault:
            unheard.append((take_id, str(fault)))
            failed += [take_id] * isinstance(fault, JudgingError)
            continue
        if before is not None and answer is not before.answer:
            changed.append(take_id)
    return Rejudged(len(ids) - len(unheard), tuple(changed), tuple(unheard), tuple(failed))


def _watched(progress: Progress, number: int, count: int) -> ProgressCallback:
    """Tell of the progress within one of `count` takes."""

    def tell(share: float) -> bool:
        done = round(_PARTS * (number + share))
        return progress.step(done, _PARTS * count, f"Take {number + 1} of {count}")

    return tell


class Rejudging:
    """Judging takes as long work, one take after another."""

    def __init__(self, takes: Takes, jobs: Jobs, store: Store) -> None:
        self._takes = takes
        self._jobs = jobs
        self._store = store

    @needs(Action.RUN_TASKS)
    def begin(self) -> Job:
        """Begin it in the background. Raises BusyError, RuleError when there is nothing to hear."""
        if not self._takes.waiting() and not self._takes.outdated():
            remedy = "There is nothing to do."
            raise RuleError("All takes were judged by this version.", remedy=remedy)
        return self._jobs.start(KIND, TITLE, self._noted)

    @needs(Action.JUDGE)
    def resume(self, started: datetime | None = None) -> Job | None:
        """At a start: judge what has no verdict, and go on with what a restart interrupted.

        started : when the program was; None: now. Returns None where there is nothing of either.
        """
        waiting = self._takes.waiting(before=started)
        with suppress(BusyError, RuleError):  # begun or done meanwhile: nothing is left to resume
            if _is_open(self._store) and self._takes.outdated():
                return self.begin()
            if waiting:
                return self._jobs.start(KIND, FIRST, partial(self._judged, waiting))
        return None

    def _judged(self, ids: Sequence[str], progress: Progress) -> str:
        """Judge takes that had no verdict."""
        done = rejudge(self._takes, progress, ids)
        judged = f"{done.takes} take{'s' * (done.takes != 1)} judged"
        return (
            f"{judged}, {len(done.unheard)} could not be judged." if done.unheard else f"{judged}."
        )

    def _noted(self, progress: Progress) -> str:
        """Do it with a note beside the log, so that it goes on after a restart."""
        _note(self._store, open_=True)
        try:
            words = rejudge(self._takes, progress).words
        except Cancelled:
            if not self._jobs.closing:  # somebody said stop; the end of the program did not
                _note(self._store, open_=False)
            raise
        _note(self._store, open_=False)
        return words


def _note(store: Store, *, open_: bool) -> None:
    if isinstance(store, DerivedCache):
        store.put(_NOTE, KIND, store.last_sequence(), b"open" if open_ else b"")


def _is_open(store: Store) -> bool:
    found = store.fetch(_NOTE, KIND) if isinstance(store, DerivedCache) else None
    return found is not None and found[1] == b"open"
