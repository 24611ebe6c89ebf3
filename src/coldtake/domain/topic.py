"""Topics, their steps and exercises: what the player lays out once and then works through."""

from datetime import date
from enum import StrEnum
from typing import Annotated

import msgspec
from msgspec import Meta

from coldtake.domain.criterion import Criterion
from coldtake.domain.page import PageBand
from coldtake.domain.requirement import Requirements

Title = Annotated[str, Meta(min_length=1, max_length=200)]


class Place(StrEnum):
    """Where the player has put a topic. `kept up` is derived: current with every step met."""

    WAITING = "waiting"
    CURRENT = "current"
    LAID_ASIDE = "laid_aside"


class TopicKind(StrEnum):
    """What a topic is, as far as it changes what we propose."""

    PIECE = "piece"
    TECHNIQUE = "technique"
    TUNE = "tune"
    RHYTHM = "rhythm"
    INTONATION = "intonation"
    READING = "reading"
    OTHER = "other"


class KeepTakes(StrEnum):
    """Which takes of a topic are kept once their day is over and they are judged or answered."""

    ALL = "all"
    FIRST_TRIES = "first_tries"
    NONE = "none"


class StepPhase(StrEnum):
    """Derived from the tries; see `progress.step_phase`."""

    OPEN = "open"
    IN_WORK = "in_work"
    MET = "met"
    HELD = "held"
    SLIPPED = "slipped"


# What needs such a step is open: it was met, and stays so where it slipped since.
MET_ONCE = frozenset({StepPhase.MET, StepPhase.HELD, StepPhase.SLIPPED})


MARKED_MOST = 200  # systems of a marked stretch


class PassageRef(msgspec.Struct, frozen=True, kw_only=True):
    """Bars of a stored passage; both None means the whole (bars counted from 1 as played)."""

    passage_id: str
    first_bar: Annotated[int, Meta(ge=1)] | None = None
    last_bar: Annotated[int, Meta(ge=1)] | None = None


class ClickSetting(msgspec.Struct, frozen=True, kw_only=True):
    """The click while playing: beat unit in quarters, beats in a bar to accent, count-in bars.

    on_beats : beats of a bar that sound, counted from 1; none named: all of them
    bars_on, bars_off : after so many bars with the click it is silent for so many, and again; a
    click in every n-th bar is 1 and n - 1. A count-in always sounds whole
    """

    beat_unit_beats: Annotated[float, Meta(gt=0, le=8)] = 1.0
    beats_per_bar: Annotated[int, Meta(ge=1, le=32)] = 4
    count_in_bars: Annotated[int, Meta(ge=0, le=8)] = 1
    on: bool = True
    on_beats: tuple[Annotated[int, Meta(ge=1, le=32)], ...] = ()
    bars_on: Annotated[int, Meta(ge=1, le=64)] = 1
    bars_off: Annotated[int, Meta(ge=0, le=64)] = 0


class Exercise(msgspec.Struct, frozen=True, kw_only=True):
    """What is played to work on a step; tempi in quarters a minute.

    clean_bpm : what the player said comes out clean before any of it was tried here
    marked : systems marked on pages, as a picture to play from; a passage goes before it
    """

    passage: PassageRef | None = None
    tempo_bpm: Annotated[float, Meta(gt=0, le=400)] | None = None
    clean_bpm: Annotated[float, Meta(gt=0, le=400)] | None = None
    key: str = ""
    words: str = ""
    click: ClickSetting = ClickSetting()
    marked: Annotated[tuple[PageBand, ...], Meta(max_length=MARKED_MOST)] = ()


class Step(msgspec.Struct, frozen=True, kw_only=True):
    """A part of a topic small enough to be met within days, with one criterion.

    need_min : whole minutes of work that the player (or a proposal) expects until it is met
    needs : ids of steps that must be met first
    requires : what playing it needs besides what its topic does
    """

    id: str
    topic_id: str
    title: Title
    criterion: Criterion
    exercise: Exercise = Exercise()
    need_min: Annotated[int, Meta(ge=1, le=6000)] = 40
    needs: tuple[str, ...] = ()
    requires: Requirements = ()


class Topic(msgspec.Struct, frozen=True, kw_only=True):
    """An area that matters. `importance` 1 (would be nice) to 5 (everything hangs on it).

    requires : what playing any of its steps needs
    instrument : where it is not the player's usual one
    keep_takes : the others are deleted for good, of the days since `keep_takes_from`
    """

    id: str
    title: Title
    kind: TopicKind = TopicKind.OTHER
    importance: Annotated[int, Meta(ge=1, le=5)] = 3
    performance_on: date | None = None
    notes: str = ""
    place: Place = Place.WAITING
    requires: Requirements = ()
    instrument: str = ""
    keep_takes: KeepTakes = KeepTakes.ALL
    keep_takes_from: date | None = None


class StoredPassage(msgspec.Struct, frozen=True, kw_only=True):
    """Notation as it came in: the text is kept for ever, the note list is read from it.

    format : "musicxml", "mei" or "abc" (`.mxl` is unpacked to its MusicXML before it is kept)
    print_doubts : of notation read from a printed page, the bars (from 1, as written) that may be
        wrong; None where it came otherwise
    compared : the player has compared such notation with the page; it does not judge takes before
    """

    id: str
    title: str
    format: Annotated[str, Meta(pattern="^(musicxml|mei|abc)$")]
    text: str
    print_doubts: tuple[Annotated[int, Meta(ge=1)], ...] | None = None
    compared: bool = False

    @property
    def to_compare(self) -> bool:
        """Whether it was read from print and nobody has looked through it yet."""
        return self.print_doubts is not None and not self.compared
