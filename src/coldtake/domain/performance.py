"""Performances with their programme, and the runs that lead to them: one chance, start to end."""

from datetime import date, datetime
from enum import StrEnum
from typing import Annotated

import msgspec
from msgspec import Meta

from coldtake.domain.estimate import Interval
from coldtake.domain.take import Answer
from coldtake.domain.topic import Title

PROGRAMME_MOST = 40
Line = Annotated[str, Meta(max_length=500)]


class RunKind(StrEnum):
    """A run-through in the practice room, or the performance itself."""

    RUN_THROUGH = "run_through"
    STAGE = "stage"


class Performance(msgspec.Struct, frozen=True, kw_only=True):
    """A date on which chosen topics must work. `programme` : topic ids in the order of the day."""

    id: str
    title: Title
    on: date
    place: Annotated[str, Meta(max_length=200)] = ""
    programme: Annotated[tuple[str, ...], Meta(max_length=PROGRAMME_MOST)] = ()


class RunPart(msgspec.Struct, frozen=True, kw_only=True):
    """What became of one piece. broke : ids of its steps where it did not come out."""

    topic_id: str
    answer: Answer
    broke: tuple[str, ...] = ()
    words: Line = ""


class Run(msgspec.Struct, frozen=True, kw_only=True):
    """One chance at a piece or a programme, from start to end.

    at, day : when it began; topic_ids : what was to be played, in order
    parts : one answer for each piece, empty until it was told; minutes : played, 0 where unknown
    step_ids : the steps that it went through
    """

    id: str
    kind: RunKind
    at: datetime
    day: date
    topic_ids: tuple[str, ...]
    performance_id: str | None = None
    intention: str = ""
    parts: tuple[RunPart, ...] = ()
    minutes: float = 0.0
    words: str = ""
    step_ids: tuple[str, ...] = ()

    @property
    def told(self) -> bool:
        """True once it was answered."""
        return bool(self.parts)


class StageTry(msgspec.Struct, frozen=True, kw_only=True):
    """What a run said of one step: evidence of its own kind, no try at the step's criterion."""

    run_id: str
    kind: RunKind
    at: datetime
    day: date
    clean: bool


def step_said(part: RunPart, step_id: str) -> bool | None:
    """Say whether a step of a piece was clean in a run; None where the answer leaves it open.

    A yes speaks for every step. A no speaks for the steps where it broke and, as these are named,
    for the others too; a no without a place says nothing of any one step.
    """
    if part.answer is Answer.YES:
        return True
    if part.answer is Answer.CANNOT_TELL or not part.broke:
        return None
    return step_id not in part.broke


class Link(msgspec.Struct, frozen=True, kw_only=True):
    """A step of a programme: its chance on stage, and the whole programme's if it were sure.

    enough : False means that the step has too few takes: it is a rough estimate
    """

    step_id: str
    topic_id: str
    chance: float
    programme_if_sure: float
    enough: bool = True


class PieceOutlook(msgspec.Struct, frozen=True, kw_only=True):
    """Chance that a piece comes out on the day; enough False: "not enough takes yet"."""

    topic_id: str
    chance: Interval
    enough: bool


class ProgrammeOutlook(msgspec.Struct, frozen=True, kw_only=True):
    """What a programme promises on its day, practising as lately and by the plan.

    on : the day looked at, earlier than the performance's where that lies beyond the look ahead
    chance : that every piece comes out, the form of the day shared by all of them
    links : the last steps of all pieces, the weakest link first
    """

    performance_id: str
    on: date
    chance: Interval
    pieces: tuple[PieceOutlook, ...]
    links: tuple[Link, ...]

    @property
    def enough(self) -> bool:
        """True when something is known of every piece."""
        return bool(self.pieces) and all(p.enough for p in self.pieces)
