"""Passages of the pile: read when they come in, so that nothing unreadable is ever kept."""

from pathlib import PurePath
from typing import TYPE_CHECKING

from coldtake.domain.events import PassageKept
from coldtake.domain.state import State
from coldtake.domain.topic import PassageRef, Step, StoredPassage
from coldtake.errors import RuleError
from coldtake.practice import finding
from coldtake.practice.checking import TITLE_MOST, title_of
from coldtake.practice.log import Log

if TYPE_CHECKING:
    from coldtake.music.passage import Passage


class Passages:
    """Notation kept for ever as it came in, and the note lists that are read from it."""

    def __init__(self, log: Log) -> None:
        self._log = log

    def keep(
        self, data: bytes, filename: str, title: str = "", untitled: str = ""
    ) -> StoredPassage:
        """Keep notation after reading it. Raises PassageError; the same text is kept once."""
        from coldtake.music.apart import read_passage, unpack

        form, text = unpack(data, filename)
        own_title = read_passage(text, form).title or untitled or PurePath(filename).stem
        name = title_of(title.strip() or own_title[:TITLE_MOST] or "Passage")
        with self._log.deciding() as state:
            known = _same(state, form, text, name)
            if known:
                return known
            stored = StoredPassage(id=self._log.new_id(), title=name, format=form, text=text)
            self._log.append(PassageKept(passage=stored))
        return stored

    def read(self, passage_id: str) -> "Passage":
        """Return the whole passage. Raises NotFoundError."""
        return _read(finding.stored_passage(self._log.state(), passage_id))

    def of_step(self, step: Step) -> "Passage | None":
        """Return the bars that a step's exercise asks for, None without a passage."""
        ref = step.exercise.passage
        return None if ref is None else self.selected(ref)

    def selected(self, ref: PassageRef) -> "Passage":
        """Return the bars that a reference names. Raises NotFoundError, PassageError."""
        from coldtake.music.excerpt import select_bars

        return select_bars(self.read(ref.passage_id), ref.first_bar, ref.last_bar)

    def check(self, ref: PassageRef) -> None:
        """Check that the bars are there. Raises NotFoundError, RuleError."""
        bars = len(self.read(ref.passage_id).bars)
        first, last = ref.first_bar or 1, ref.last_bar or bars
        if not 1 <= first <= last <= bars:
            raise RuleError(
                f"Bars {first} to {last} are not in this passage of {bars} bars.",
                remedy=f"Give bars from 1 to {bars}, counted as played.",
            )


def _read(stored: StoredPassage) -> "Passage":
    from coldtake.music.apart import read_passage

    return read_passage(stored.text, stored.format)


def _same(state: State, form: str, text: str, title: str) -> StoredPassage | None:
    for stored in state.passages.values():
        if (stored.format, stored.text, stored.title) == (form, text, title):
            return stored
    return None
