"""What all parts of a tune's map share: its changes, its instrument, the way to its tempo."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from coldtake.domain.topic import PassageRef
from coldtake.music.abc.notating import Written
from coldtake.music.notation.changes import Changes, changes_abc
from coldtake.music.passage import Passage
from coldtake.music.theory.chord_scales import scale_choices
from coldtake.music.theory.instruments import Instrument
from coldtake.practice.topics.proposals.asks import TuneAsk
from coldtake.practice.topics.proposals.laying import Laying, Pace
from coldtake.practice.topics.proposals.own import OwnNeed

Notes = Callable[[Changes], Sequence[Written]]


@dataclass(frozen=True, slots=True)
class OverChanges:
    """One tune to be laid out. way : from the clean tempo to the goal, in beats of the tune."""

    ask: TuneAsk
    melody: Passage | None
    changes: Changes
    instrument: Instrument
    way: Pace
    laying: Laying
    own: OwnNeed

    def written(self, changes: Changes, title: str, notes: Notes) -> tuple[PassageRef, Passage]:
        """A line through changes as a passage; its tempo is that of the step that plays it."""
        return self.laying.passage(title, changes_abc(changes, title, notes, self.instrument))

    @property
    def scales(self) -> str:
        """The simplest scale over each chord, once each."""
        found = {}
        for span in self.changes.spans:
            choices = scale_choices(span.chord)
            if choices:
                found[span.chord.symbol] = f"{span.chord.symbol}: {choices[0]}"
        return "; ".join(found.values())
