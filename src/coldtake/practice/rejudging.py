"""Listening again, with the listener as it is now, to takes that an older one has judged.

Verdicts are appended, one take at a time; so what is done stays done, and begun again it goes on
with those that are left.
"""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

from coldtake.bounded import Stopped, Tell
from coldtake.errors import BusyError, NotFoundError, RuleError, SoundError
from coldtake.ports import Cancelled, Progress, Shelf, Store
from coldtake.practice.jobs import Job
from coldtake.practice.takes import Takes

if TYPE_CHECKING:
    from coldtake.practice.services import Services

KIND = "rejudge"
TITLE = "Listening again"
_NOTE = "long work"  # on the shelf
_PARTS = 100  # steps of progress within one take


@dataclass(frozen=True, slots=True)
class Rejudged:
    """takes : heard again; changed : of these, with another answer now; unheard : (id, why)."""

    takes: int
    changed: tuple[str, ...]
    unheard: tuple[tuple[str, str], ...]

    @property
    def words(self) -> str:
        """What there is to say of it."""
        heard = f"{self.takes} take{'s' * (self.takes != 1)} heard again"
        parts = [f"{len(self.changed)} with another answer"] if self.takes else []
        if self.unheard:
            parts.append(f"{len(self.unheard)} could not be heard, so their verdicts stand")
        return f"{', '.join((heard, *parts))}."


def rejudge(takes: Takes, progress: Progress, ids: Sequence[str] | None = None) -> Rejudged:
    """Listen again to these takes, all outdated ones by default. Raises Cancelled, StoreError."""
    ids = takes.outdated() if ids is None else ids
    changed: list[str] = []
    unheard: list[tuple[str, str]] = []
    for number, take_id in enumerate(ids):
        before = takes.get(take_id).verdict
        tell = _watched(progress, number, len(ids))
        if not tell(0.0):
            raise Cancelled
        try:
            answer = takes.rejudge(take_id, tell).answer
        except Stopped:
            raise Cancelled from None
        except (NotFoundError, SoundError) as fault:
            unheard.append((take_id, str(fault)))
            continue
        if before is not None and answer is not before.answer:
            changed.append(take_id)
    return Rejudged(len(ids) - len(unheard), tuple(changed), tuple(unheard))


def _watched(progress: Progress, number: int, count: int) -> Tell:
    """Tell of the progress within one of `count` takes."""

    def tell(share: float) -> bool:
        done = round(_PARTS * (number + share))
        return progress.step(done, _PARTS * count, f"Take {number + 1} of {count}")

    return tell


def begin(services: "Services") -> Job:
    """Begin it in the background. Raises BusyError, RuleError when there is nothing to hear."""
    if not services.takes.outdated():
        raise RuleError(
            "Every take was judged by the listener as it is now.", remedy="There is nothing to do."
        )
    return services.jobs.start(KIND, TITLE, lambda progress: _noted(services, progress))


def resume(services: "Services") -> Job | None:
    """Go on with what a restart interrupted; None when nothing was, or all is done."""
    if not _is_open(services.store) or not services.takes.outdated():
        return None
    with suppress(BusyError):  # begun by the player meanwhile: nothing is left to resume
        return begin(services)
    return None


def _noted(services: "Services", progress: Progress) -> str:
    """Do it with a note beside the log, so that it goes on after a restart."""
    _note(services.store, open_=True)
    try:
        words = rejudge(services.takes, progress).words
    except Cancelled:
        if not services.jobs.closing:  # somebody said stop; the end of the program did not
            _note(services.store, open_=False)
        raise
    _note(services.store, open_=False)
    return words


def _note(store: Store, *, open_: bool) -> None:
    if isinstance(store, Shelf):
        store.put(_NOTE, KIND, store.last_sequence(), b"open" if open_ else b"")


def _is_open(store: Store) -> bool:
    found = store.fetch(_NOTE, KIND) if isinstance(store, Shelf) else None
    return found is not None and found[1] == b"open"
