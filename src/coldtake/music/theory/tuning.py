"""Tunings in cents above a tonic, and where a pitch should lie in each.

Ratios of just intonation: 5-limit (16/15, 9/8, 6/5, 5/4, 4/3, 45/32, 3/2, 8/5, 5/3, 9/5, 15/8).
Pythagorean: chains of pure fifths (256/243 ... 243/128), tritone as augmented fourth 729/512.
"""

from fractions import Fraction
from typing import Literal

from coldtake.units import A4_HZ, CENTS_PER_SEMITONE, pitch_to_hz, ratio_to_cents

Tuning = Literal["equal", "just", "pythagorean"]

JUST = tuple(
    Fraction(*r)
    for r in (
        (1, 1),
        (16, 15),
        (9, 8),
        (6, 5),
        (5, 4),
        (4, 3),
        (45, 32),
        (3, 2),
        (8, 5),
        (5, 3),
        (9, 5),
        (15, 8),
    )
)
PYTHAGOREAN = tuple(
    Fraction(*r)
    for r in (
        (1, 1),
        (256, 243),
        (9, 8),
        (32, 27),
        (81, 64),
        (4, 3),
        (729, 512),
        (3, 2),
        (128, 81),
        (27, 16),
        (16, 9),
        (243, 128),
    )
)


def cents_above(semitones: int, tuning: Tuning = "equal") -> float:
    """Cents from a tonic to the note so many semitones above it (below: negative)."""
    octaves, within = divmod(semitones, 12)
    if tuning == "equal":
        return semitones * CENTS_PER_SEMITONE
    ratio = (JUST if tuning == "just" else PYTHAGOREAN)[within]
    return octaves * 1200.0 + ratio_to_cents(float(ratio))


def tuned_pitch(pitch: int, tonic: int, tuning: Tuning = "equal") -> float:
    """Fractional MIDI pitch of a note in a tuning whose tonic is equal-tempered."""
    return tonic + cents_above(pitch - tonic, tuning) / CENTS_PER_SEMITONE


def frequency_hz(
    pitch: int, *, a4_hz: float = A4_HZ, tonic: int = 60, tuning: Tuning = "equal"
) -> float:
    """Frequency of a note in a tuning [Hz]; a4_hz > 0."""
    return pitch_to_hz(tuned_pitch(pitch, tonic, tuning), a4_hz)
