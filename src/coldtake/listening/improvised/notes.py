"""The notes of an improvisation, wherever they were heard."""

from collections.abc import Sequence
from dataclasses import dataclass

from coldtake.listening.keyboard.midi_performance import Press


@dataclass(frozen=True, slots=True)
class Heard:
    """One note: onset_s, offset_s [s]; pitch : MIDI number; sure : whether its pitch is."""

    onset_s: float
    offset_s: float
    pitch: int
    sure: bool = True


def of_keys(presses: Sequence[Press]) -> tuple[Heard, ...]:
    """A keyboard's presses as notes."""
    return tuple(Heard(float(p.onset_s), float(p.offset_s), int(p.pitch)) for p in presses)
