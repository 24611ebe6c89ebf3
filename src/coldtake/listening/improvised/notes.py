"""The notes of an improvisation, wherever they were heard."""

from collections.abc import Sequence
from dataclasses import dataclass

from coldtake.listening.keyboard.midi_performance import MidiNote


@dataclass(frozen=True, slots=True)
class ImprovisedNote:
    """One note: onset_s, offset_s [s]; pitch : MIDI number; sure : whether its pitch is."""

    onset_s: float
    offset_s: float
    pitch: int
    sure: bool = True


def of_keys(presses: Sequence[MidiNote]) -> tuple[ImprovisedNote, ...]:
    """A keyboard's presses as notes."""
    return tuple(ImprovisedNote(float(p.onset_s), float(p.offset_s), int(p.pitch)) for p in presses)
