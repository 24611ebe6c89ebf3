"""Passages of the pile: read when they come in, so that nothing unreadable is ever kept."""

from pathlib import PurePath
from typing import TYPE_CHECKING

import msgspec

from coldtake.domain.events import PassageKept
from coldtake.domain.history.state import State
from coldtake.domain.topic import Exercise, PassageRef, Step, StoredPassage
from coldtake.errors import RuleError
from coldtake.practice import lookup
from coldtake.practice.access import Action, needs
from coldtake.practice.state.log import Log
from coldtake.practice.validation import TITLE_MOST, title_of

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
        stored, _ = self.read_in(data, filename, title, untitled)
        with self._log.deciding() as state:
            known = same(state, stored)
            if known is None:
                self._log.append(PassageKept(passage=stored))
        return known or stored

    def read_in(
        self, data: bytes, filename: str, title: str = "", untitled: str = ""
    ) -> tuple[StoredPassage, "Passage"]:
        """Read notation and give it a name and an id; nothing is kept yet. Raises PassageError."""
        from coldtake.music.notation.worker_client import passage_of, unpack

        form, text = unpack(data, filename)
        read = passage_of(text, form)
        own_title = read.title or untitled or PurePath(filename).stem
        name = title_of(title.strip() or own_title[:TITLE_MOST] or "Passage")
        return StoredPassage(id=self._log.new_id(), title=name, format=form, text=text), read

    @needs(Action.SEE)
    def read(self, passage_id: str) -> "Passage":
        """Return the whole passage. Raises NotFoundError."""
        return _read(lookup.stored_passage(self._log.state(), passage_id))

    @needs(Action.SEE)
    def of_step(self, step: Step) -> "Passage | None":
        """Return the bars that a step's exercise asks for, None without a passage."""
        ref = step.exercise.passage
        return None if ref is None else self.selected(ref)

    @needs(Action.SEE)
    def selected(self, ref: PassageRef) -> "Passage":
        """Return the bars that a reference names. Raises NotFoundError, PassageError."""
        from coldtake.music.notation.reading.excerpt import select_bars

        return select_bars(self.read(ref.passage_id), ref.first_bar, ref.last_bar)

    @needs(Action.CHANGE_TOPICS)
    def compare(self, passage_id: str) -> StoredPassage:
        """Keep that the player has compared notation read from print with its page."""
        with self._log.deciding() as state:
            stored = lookup.stored_passage(state, passage_id)
            if stored.to_compare:
                stored = msgspec.structs.replace(stored, compared=True)
                self._log.append(PassageKept(passage=stored))
        return stored

    def check(self, ref: PassageRef) -> None:
        """Check that the bars are there. Raises NotFoundError, RuleError."""
        bars = len(self.read(ref.passage_id).bars)
        first, last = ref.first_bar or 1, ref.last_bar or bars
        if not 1 <= first <= last <= bars:
            raise RuleError(
                f"Bars {first} to {last} are not in this passage of {bars} bars.",
                remedy=f"Enter bars from 1 to {bars}. Repeated bars count each time.",
            )


def _read(stored: StoredPassage) -> "Passage":
    from coldtake.music.notation.worker_client import passage_of

    return passage_of(stored.text, stored.format)


def same(state: State, passage: StoredPassage) -> StoredPassage | None:
    """Return the passage of the same title and text that is kept already, None without one."""
    wanted = (passage.format, passage.text, passage.title)
    known = state.passages.values()
    return next((p for p in known if (p.format, p.text, p.title) == wanted), None)


def with_passage(exercise: Exercise, passage_id: str, passage: "Passage") -> Exercise:
    """Give an exercise a passage; tempo and click follow the page where nothing was chosen."""
    mark = passage.tempi[0] if passage.tempi else None
    beats, unit = passage.bars[0].metre if passage.bars else (4, 4)
    beat = mark.beat_unit_beats if mark else 4 / unit
    click = msgspec.structs.replace(
        exercise.click,
        beat_unit_beats=beat,
        beats_per_bar=max(1, round(beats * 4 / unit / beat)),
    )
    return msgspec.structs.replace(
        exercise,
        passage=PassageRef(passage_id=passage_id),
        tempo_bpm=exercise.tempo_bpm or (mark.bpm if mark else None),
        click=exercise.click if exercise.tempo_bpm else click,
    )
