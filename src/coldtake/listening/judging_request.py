"""What is asked of a take: one record from the log to every kind of listener, also as JSON."""

import msgspec

from coldtake.domain.criterion import Criterion
from coldtake.domain.take import ClickTrack
from coldtake.music.passage import Passage


class ReferenceTake(msgspec.Struct, frozen=True):
    """A take that the player called right: path of its file, and what is known of its click."""

    take_id: str
    path: str
    click: ClickTrack | None = None
    click_bpm: float | None = None


class JudgingRequest(msgspec.Struct, frozen=True):
    """A passage and a criterion, and what is known of the beat.

    click : when clicks were made; click_bpm : where only their tempo is known; tempo_bpm : of the
    exercise, where nothing written tells the beat; tempi in quarters a minute
    reference : the take to compare with where nothing is written; the passage is empty then
    """

    passage: Passage
    criterion: Criterion
    click: ClickTrack | None = None
    click_bpm: float | None = None
    tempo_bpm: float | None = None
    reference: ReferenceTake | None = None
