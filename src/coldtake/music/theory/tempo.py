"""Metronome marks: the traditional ones, nearest, next and between, and the sign of their beat."""

from bisect import bisect_left, bisect_right
from fractions import Fraction

from coldtake.units import BEAT_SIGNS, METRONOME_MARKS

__all__ = [
    "METRONOME_MARKS",
    "marks_between",
    "nearest_mark",
    "next_mark",
    "note_sign",
    "previous_mark",
]

_NOTE_SIGNS = {Fraction(beat) / 4: sign for beat, sign in BEAT_SIGNS.items()}
_NOTE_SIGNS |= {Fraction(1): "whole note", Fraction(1, 2): "half note"}
_NOTE_SIGNS |= {Fraction(3, 4): "half note.", Fraction(1, 16): "16th note"}


def note_sign(part: Fraction) -> str:
    """Write a part of a whole note as the sign of a beat, where there is one."""
    return _NOTE_SIGNS.get(part, str(part))


def nearest_mark(bpm: float) -> int:
    """The mark nearest by ratio to a tempo > 0; the slower of two equally near."""
    _require(bpm)
    return min(METRONOME_MARKS, key=lambda mark: (max(mark / bpm, bpm / mark), mark))


def next_mark(bpm: float) -> int:
    """The first mark faster than a tempo > 0; the fastest mark where there is none."""
    _require(bpm)
    place = bisect_right(METRONOME_MARKS, bpm)
    return METRONOME_MARKS[min(place, len(METRONOME_MARKS) - 1)]


def previous_mark(bpm: float) -> int:
    """The last mark slower than a tempo > 0; the slowest mark where there is none."""
    _require(bpm)
    return METRONOME_MARKS[max(bisect_left(METRONOME_MARKS, bpm) - 1, 0)]


def marks_between(low: float, high: float) -> tuple[int, ...]:
    """All marks m with low <= m <= high, both > 0."""
    _require(low)
    _require(high)
    return METRONOME_MARKS[bisect_left(METRONOME_MARKS, low) : bisect_right(METRONOME_MARKS, high)]


def _require(bpm: float) -> None:
    if not bpm > 0:
        raise ValueError(f"a tempo must be above 0, not {bpm} beats per minute")
