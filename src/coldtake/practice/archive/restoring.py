"""Bringing an archive back: takes first, then every event in one transaction.

Events have ids, so a log that is there already and the archive's come together by themselves: an
event that both have is the same event. One id with two meanings is a conflict, and nothing is
changed. Into a log that holds what the archive does not know, it is brought only on request, so
that two players' diaries are not mixed by mistake.

Until the events are in, takes that were written are sounds that the log does not speak of: an
interrupted restore changes nothing and can be begun again.
"""

from collections.abc import Iterator
from datetime import datetime
from hashlib import sha256 as sha256_of
from typing import Protocol

from coldtake.domain.events import Event
from coldtake.domain.history.deleted_takes import emptied
from coldtake.errors import RuleError
from coldtake.ports import Cancelled, Progress
from coldtake.practice.archive.contents import Kept, Restored
from coldtake.practice.archive.meanings import Meanings, conflict
from coldtake.practice.state.putting_right import put_right

_TOLD_EVERY = 2000  # events


class Source(Protocol):
    """What can be brought back: an archive, or a copy of a log."""

    where: str

    def events(self) -> Iterator[Event]:
        """Give the events in order of arrival, the same each time it is asked."""
        ...

    def refused(self) -> Iterator[tuple[datetime, str, bytes]]:
        """Give what was refused."""
        ...

    def take(self, take_id: str) -> bytes | None:
        """Return the sound of a take, None where there is none that is whole."""
        ...


def restore(
    kept: Kept, source: Source, *, merge: bool = False, progress: Progress | None = None
) -> Restored:
    """Bring back what a source holds, or nothing.

    merge : also where this log holds events that the source does not know.
    Raises RuleError (conflict, or merging not asked for), InputError, StoreError, Cancelled.
    """
    return _Restoring(kept, source, progress).run(merge=merge)


class _Restoring:
    def __init__(self, kept: Kept, source: Source, progress: Progress | None) -> None:
        self._kept = kept
        self._source = source
        self._progress = progress
        self._total = 1
        self._done = 0
        self._written: list[str] = []
        self._gone: set[str] = set()

    def run(self, *, merge: bool) -> Restored:
        known, sums = self._compared(merge=merge)
        refused = list(self._source.refused())  # read before anything is kept: it may be damaged
        try:
            missing, damaged = self._bring_takes(sums)
            new = self._kept.log.store.append(self._counted_events())
        except BaseException:
            self._take_back()
            raise
        self._kept.log.store.refuse_all(refused)
        self._empty_deleted()
        misdated = put_right(self._kept.log.store, self._kept.log.now())
        self._kept.log.get_ready()  # what it comes to is shelved: the first page need not wait
        self._tell("done", done=self._total)
        return Restored(
            events=new,
            known=known,
            takes=len(set(self._written) - self._kept.log.state().page_files.keys()),
            missing_takes=tuple(missing),
            damaged_takes=tuple(damaged),
            misdated=misdated,
            not_valid=tuple(self._kept.settings.not_valid()),
        )

    def _compared(self, *, merge: bool) -> tuple[int, dict[str, str]]:
        """Read the whole source against the log; return how many are known, and takes' checksums.

        Raises RuleError for a conflict, and where merging was not asked for.
        """
        here, there = Meanings(), Meanings()
        for _, event in self._kept.log.store.events():
            here.add(event)
        for event in self._source.events():
            there.add(event)
            if len(there.entries) % _TOLD_EVERY == 0:
                self._tell("reading")
        conflicts = (*there.twofold, *there.against(here))
        if conflicts:
            raise conflict(conflicts, self._source.where)
        strangers = len(here.entries.keys() - there.entries.keys())
        if strangers and not merge:
            raise RuleError(
                f"This log has {strangers} entries that the export does not have.",
                where=self._source.where,
                remedy="Restore into an empty folder, or choose to merge.",
            )
        self._gone = here.deleted | there.deleted
        for take_id in self._gone:
            there.sounds.pop(take_id, None)
        self._total = len(there.sounds) + len(there.entries) + 1
        return len(there.entries.keys() & here.entries.keys()), there.sounds

    def _bring_takes(self, sums: dict[str, str]) -> tuple[list[str], list[str]]:
        """Write the sounds that are not here; return ids of those missing and of those damaged."""
        files = self._kept.take_files
        missing, damaged = [], []
        for take_id, sha256 in sums.items():
            self._tell("takes", done=self._done + 1)
            if not files.damaged(take_id, sha256):
                continue
            sound = self._source.take(take_id)
            if sound is None:
                missing.append(take_id)
            elif sha256_of(sound).hexdigest() != sha256:
                damaged.append(take_id)
            else:
                files.keep(take_id, sound)
                self._written.append(take_id)
        return missing, damaged

    def _counted_events(self) -> Iterator[Event]:
        for count, event in enumerate(self._source.events(), start=1):
            if count % _TOLD_EVERY == 0:
                self._tell("the log", done=self._done + _TOLD_EVERY)
            yield event

    def _empty_deleted(self) -> None:
        """Let nothing come back of takes that were deleted for good, here or in the source."""
        store = self._kept.log.store
        entries = [emptied(e) for e in store.entries_of_takes(self._gone)] if self._gone else []
        if entries:
            self._kept.log.empty(entries)
            store.compact()
        for take_id in self._gone:
            self._kept.take_files.drop(take_id)

    def _take_back(self) -> None:
        """Remove the sounds that were written for nothing: this log does not speak of them."""
        state = self._kept.log.state()
        known = {file.lower() for file in (*state.takes, *state.page_files)}
        for take_id in self._written:
            if take_id not in known:
                self._kept.take_files.drop(take_id)

    def _tell(self, words: str, *, done: int | None = None) -> None:
        self._done = self._done if done is None else min(done, self._total)
        if self._progress and not self._progress.step(self._done, self._total, words):
            raise Cancelled
