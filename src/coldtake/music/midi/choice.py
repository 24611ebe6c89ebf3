"""What the player may choose when a MIDI file becomes notation."""

from dataclasses import dataclass

FINEST = {"quarters": 1, "eighths": 2, "sixteenths": 4, "thirty-seconds": 8}  # to a quarter


@dataclass(frozen=True, slots=True)
class ImportChoice:
    """How to write it.

    part : from 1, or None where the file has only one
    finest : a name of FINEST; threes : triplets may be written
    key : such as "Bb" or "F# minor", else the file's or a guess; metre : else the file's or 4/4
    bpm : the real quarters a minute, where the file's beat is not the music's
    pick_up : quarters before the first full bar
    """

    part: int | None = None
    finest: str = "sixteenths"
    threes: bool = True
    key: str = ""
    metre: tuple[int, int] | None = None
    bpm: float | None = None
    pick_up: float = 0.0
