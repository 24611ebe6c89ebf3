"""A passage as sound events in seconds at one steady tempo."""

from dataclasses import dataclass

from coldtake.music.passage import Passage
from coldtake.units import beats_to_s


@dataclass(frozen=True, slots=True)
class SoundedNote:
    """One note to sound. pitch: sounding MIDI number; times >= 0 from the start of the passage."""

    id: str
    onset_s: float
    duration_s: float
    pitch: float


def schedule(passage: Passage, bpm: float) -> tuple[SoundedNote, ...]:
    """When each note sounds at a steady tempo > 0 in quarter notes per minute."""
    if not bpm > 0:
        raise ValueError(f"a tempo must be above 0, not {bpm} quarter notes per minute")
    return tuple(
        SoundedNote(
            note.id,
            beats_to_s(note.onset_beats, bpm),
            beats_to_s(note.duration_beats, bpm),
            note.pitch,
        )
        for note in passage.notes
    )
