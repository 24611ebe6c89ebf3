"""What is asked of a take, and what is known of its beat: one record for every kind of listener."""

from dataclasses import dataclass

from coldtake.domain.criterion import Criterion
from coldtake.domain.take import ClickTrack
from coldtake.music.passage import Passage


@dataclass(frozen=True, slots=True)
class JudgingRequest:
    """A passage and a criterion, and what is known of the beat.

    click : when clicks were made; click_bpm : where only their tempo is known; tempo_bpm : of the
    exercise; tempi in quarters a minute
    """

    passage: Passage
    criterion: Criterion
    click: ClickTrack | None = None
    click_bpm: float | None = None
    tempo_bpm: float | None = None
