"""How probable it is that a note's status is as it is told.

Shares measured on rendered takes of the tuning bank and rounded, slow attacks and a room among
them; `bench/listening` holds them against other takes. What cannot be told has its own figure,
below one half.
"""

from coldtake.listening.alignment.performed_notes import (
    CLEAR_ATTACKS,
    PerformanceAlignment,
    PerformedNote,
)
from coldtake.music.passage import Passage

CANNOT_TELL, NO_CLEAR_PITCH = 0.3, 0.4
RIGHT, RIGHT_FAINT, RIGHT_FAINT_AGAIN = 0.99, 0.9, 0.85
WRONG, WRONG_FAINT = 0.97, 0.85
MISSED, MISSED_UNCLEAR, MISSED_RUN_UNCLEAR = 0.97, 0.9, 0.6
EXTRA, EXTRA_UNCLEAR = 0.97, 0.75
UNCLEAR = CLEAR_ATTACKS  # clarity of a take's attacks
TONE, CLEAR_TONE = 0.5, 0.9  # shares of frames with a tone
STEADY, ATTACK = 0.2, 0.6  # semitones; 0..1


def of_note(reading: PerformanceAlignment, passage: Passage, index: int) -> float:
    """Of a written note's status in a reading."""
    playing = reading.kept.get(index)
    if playing is None:
        run = {index - 1, index + 1} & set(range(len(passage.notes))) - reading.kept.keys()
        return _of_missed(reading.clarity, run=bool(run - reading.unsure))
    if playing.right is False:
        return _of_wrong(playing)
    again = index > 0 and passage.notes[index - 1].pitch == passage.notes[index].pitch
    return _of_right(playing, again=again)


def _of_right(playing: PerformedNote, *, again: bool) -> float:
    if playing.tone.voiced >= TONE:
        return RIGHT
    return RIGHT_FAINT_AGAIN if again else RIGHT_FAINT


def _of_wrong(playing: PerformedNote) -> float:
    tone = playing.tone
    return WRONG if tone.voiced >= CLEAR_TONE and tone.spread < STEADY else WRONG_FAINT


def _of_missed(clarity: float, *, run: bool) -> float:
    """Of a note that was not heard; run : a neighbour was not heard either."""
    if clarity >= UNCLEAR:
        return MISSED
    return MISSED_RUN_UNCLEAR if run else MISSED_UNCLEAR


def of_extra(playing: PerformedNote, clarity: float) -> float:
    """Of a tone that is not written."""
    return EXTRA if clarity >= UNCLEAR and playing.attack >= ATTACK else EXTRA_UNCLEAR
