"""Takes deleted for good: chosen, deleted from the log and the disk, and by a topic's own rule.

What goes: the recording, the verdict with its evidence, what was measured. What stays: that there
was a take, of which step and when it was deleted, and the answer with its tempo, on which the
estimates stand. Order: the log first (one transaction), then the note of what must go, then all
files; whatever stops it in between, the next start goes on.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from coldtake.domain import events as ev
from coldtake.domain.history.deleted_takes import emptied, take_in
from coldtake.domain.history.state import State
from coldtake.domain.take import FirstTry, Take
from coldtake.domain.topic import KeepTakes
from coldtake.errors import ColdtakeError
from coldtake.ports import Maintenance, TakeFiles
from coldtake.practice import lookup
from coldtake.practice.access import Action, needs
from coldtake.practice.state.log import Log


@dataclass(frozen=True, slots=True)
class DeletedTakes:
    """What was deleted. left : copies that could not be reached; they are tried again."""

    takes: int
    left: tuple[str, ...] = ()


class Deleting:
    """Use cases of takes that shall be gone for good."""

    def __init__(self, log: Log, files: TakeFiles, care: Maintenance | None) -> None:
        self._log = log
        self._files = files
        self._care = care

    @needs(Action.SEE)
    def chosen(self, topic_id: str = "", before: date | None = None) -> tuple[Take, ...]:
        """Return the takes of a topic's steps (all takes without one) before a day, by instant.

        Raises NotFoundError.
        """
        state = self._log.state()
        takes = _of_topic(state, topic_id) if topic_id else state.takes.values()
        found = (t for t in takes if before is None or t.day < before)
        return tuple(sorted(found, key=lambda take: take.at))

    @needs(Action.DELETE_TAKES)
    def delete(self, take_ids: Sequence[str]) -> DeletedTakes:
        """Delete takes for good; those that are gone already are passed over.

        Raises StoreError, BusyError; once the log says that they are deleted, what is left of them
        is removed at the next start.
        """
        return self._delete(take_ids)

    @needs(Action.RUN_TASKS)
    def tidy(self) -> DeletedTakes:
        """Delete what the topics do not keep, of days that are over; end what was interrupted."""
        state = self._log.state()
        interrupted = [i for i in state.takes_deleted if self._there(i)]
        if interrupted:
            self._remove(interrupted)
        return self._delete([take.id for take in not_kept(state, self._log.today())])

    def _delete(self, take_ids: Sequence[str]) -> DeletedTakes:
        with self._log.deciding() as state:
            takes = [t for i in dict.fromkeys(take_ids) if (t := state.takes.get(i)) is not None]
            if not takes:
                return DeletedTakes(0)
            held: dict[str, list[str]] = {take.id.lower(): [] for take in takes}
            entries = []
            for entry in self._log.store.entries_of_takes(held.keys()):
                entries.append(emptied(entry))
                held[take_in(entry.data)].append(entry.id)
            said = (
                ev.TakeDeleted(take_id=t.id, step_id=t.step_id, entry_ids=tuple(held[t.id.lower()]))
                for t in takes
            )
            self._log.empty(entries, *said)
        return DeletedTakes(len(takes), self._remove([take.id for take in takes]))

    def _remove(self, take_ids: Sequence[str]) -> tuple[str, ...]:
        small = [take_id.lower() for take_id in take_ids]
        if self._care is not None:
            self._care.forget(small)
            return tuple(self._care.forget_noted())
        for take_id in small:
            self._files.drop(take_id)
        self._log.store.compact()
        return ()

    def _there(self, take_id: str) -> bool:
        try:
            return bool(self._files.path(take_id))
        except ColdtakeError:
            return False


def not_kept(state: State, today: date) -> tuple[Take, ...]:
    """Return the takes that their topics do not keep: of days before today, judged or answered.

    Those from before this was chosen stay: they go only when the player asks for it. A take of
    which is not said whether it was the first try of its day is kept with those, and so is one
    that others are compared with.
    """
    found = []
    for topic in state.topics.values():
        if topic.keep_takes is KeepTakes.ALL:
            continue
        for take in _of_topic(state, topic.id):
            first = take.cold or take.first_try is FirstTry.NOT_SAID
            kept = first and topic.keep_takes is KeepTakes.FIRST_TRIES
            kept = kept or state.references.get(take.step_id) == take.id
            done = take.verdict is not None or take.id in state.tries
            over = topic.keep_takes_from is not None and topic.keep_takes_from <= take.day < today
            if not kept and done and over:
                found.append(take)
    return tuple(found)


def _of_topic(state: State, topic_id: str) -> list[Take]:
    lookup.topic(state, topic_id)
    return [t for s in state.topic_steps(topic_id) for t in state.past(s.id).takes]
