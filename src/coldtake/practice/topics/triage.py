"""Triage of the pile: a proposal of what to have current, decided by the player, and undone."""

import threading
from collections.abc import Mapping
from datetime import date
from typing import TYPE_CHECKING

from coldtake.domain import events as ev
from coldtake.domain.history.state import State
from coldtake.domain.topic import Place
from coldtake.errors import NotFoundError, RuleError
from coldtake.practice import lookup
from coldtake.practice.access import Action, needs
from coldtake.practice.state.evidence_mark import EvidenceMark
from coldtake.practice.state.log import Log
from coldtake.practice.topics import rules
from coldtake.settings import value_of

if TYPE_CHECKING:
    from coldtake.planning.triage.selection import Triage


class TriageService:
    """Use cases of triage. A decision is one append; what it replaced is remembered for undoing."""

    def __init__(self, log: Log) -> None:
        self._log = log
        self._mark = EvidenceMark(log)
        self._proposing = threading.Lock()
        self._proposed: tuple[tuple[int, date], Triage] | None = None
        self._decided: dict[str, tuple[Place, Place]] = {}  # (before, after) of each topic moved

    @needs(Action.SEE)
    def propose(self) -> "Triage":
        """Return what fits before the dates and what does not; kept until the log changes."""
        from coldtake.planning.triage.selection import triage

        with self._proposing:
            key = self._mark.now()
            if self._proposed is None or self._proposed[0] != key:
                with self._log.learned.used():
                    self._proposed = key, triage(self._log.state(), key[1])
            return self._proposed[1]

    @needs(Action.CHANGE_TOPICS)
    def decide(self, places: Mapping[str, Place]) -> int:
        """Put topics where the player wants them, all or none; return how many moved.

        Raises NotFoundError, and RuleError when more would be current than the limit allows.
        """
        with self._log.deciding() as state:
            before = {i: lookup.topic(state, i).place for i in places}
            moved = {i: place for i, place in places.items() if place is not before[i]}
            _check_room(state, moved)
            if moved:
                self._place(moved)
                self._decided = {i: (before[i], place) for i, place in moved.items()}
        return len(moved)

    @needs(Action.SEE)
    def undoable(self) -> tuple[str, ...]:
        """Ids of the topics of the last decision that still stand where it put them."""
        state = self._log.state()
        return tuple(i for i, (_, after) in self._decided.items() if _stands(state, i, after))

    @needs(Action.CHANGE_TOPICS)
    def undo(self) -> int:
        """Put back what the last decision moved and nobody has moved since. Raises NotFoundError.

        A topic that was current before becomes so again, whatever the limit.
        """
        with self._log.deciding():
            back = {i: self._decided[i][0] for i in self.undoable()}
            if not back:
                raise NotFoundError(
                    "There is nothing left to undo.",
                    remedy="Move the topics one by one on the page Topics.",
                )
            self._place(back)
            self._decided = {}
        return len(back)

    def _place(self, places: Mapping[str, Place]) -> None:
        placed = (ev.TopicPlaced(topic_id=i, place=place) for i, place in places.items())
        self._log.append(*placed)


def _stands(state: State, topic_id: str, place: Place) -> bool:
    topic = state.topics.get(topic_id)
    return topic is not None and topic.place is place


def _check_room(state: State, moved: Mapping[str, Place]) -> None:
    """Raise RuleError when a topic would become current past the limit; kept-up ones are free."""
    limit = value_of(state.settings, "current_topics")
    now = {t.id for t in state.topics.values() if t.place is Place.CURRENT}
    then = {i for i in state.topics if moved.get(i, state.topics[i].place) is Place.CURRENT}
    busy = [i for i in then if not rules.takes_no_place(state, i)]
    if len(busy) <= limit or not then - now:
        return
    names = ", ".join(f"“{state.topics[i].title}”" for i in state.topics if i in busy)
    raise RuleError(
        f"{len(busy)} topics would be current ({names}) and your limit is {limit}. "
        "With more topics, each is practised too rarely.",
        where="current topics",
        remedy="Move one of them to waiting, or raise the limit in the settings.",
    )
