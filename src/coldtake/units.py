"""Units, their conversions, and constants with their source.

Conventions, everywhere in the code (a name ends in its unit):

    _s        seconds                      _ms      milliseconds
    _beats    quarter-note beats           _bpm     quarter-note beats per minute
    _cents    1/1200 octave                pitch    MIDI number, 69 = A4, fractions allowed
    _hz       hertz                        _min     whole minutes (plans)

A criterion may state its tempo in another beat unit; it is turned into quarters at once.
"""

import math

A4_HZ = 440.0  # ISO 16:1975, Acoustics - Standard tuning frequency
A4_PITCH = 69  # MIDI number of A4 (MIDI 1.0; middle C = 60)
CENTS_PER_OCTAVE = 1200.0
CENTS_PER_SEMITONE = 100.0

# The traditional metronome series, 39 marks (common practice, no standard): 40-60 by 2, 60-72 by 3,
# 72-120 by 4, 120-144 by 6, 144-208 by 8.
METRONOME_MARKS: tuple[int, ...] = (
    *range(40, 60, 2),
    *range(60, 72, 3),
    *range(72, 120, 4),
    *range(120, 144, 6),
    *range(144, 209, 8),
)

# Signs of the beats that a line of text can show; the others are named.
BEAT_SIGNS = {0.5: "♪", 0.75: "♪.", 1.0: "♩", 1.5: "♩."}
_BEAT_NAMES = {2.0: "half note", 3.0: "dotted half note", 4.0: "whole note"}


def tempo_mark(beat_beats: float, per_minute: str) -> str:
    """Write a tempo as text shows it: “♩ = 84”. beat_beats : the beat in quarters."""
    return f"{beat_sign(beat_beats)} = {per_minute}"


def beat_sign(beat_beats: float) -> str:
    """Sign of a beat of so many quarters, or its name where text has no sign for it."""
    named = BEAT_SIGNS | _BEAT_NAMES
    return named.get(beat_beats, f"{beat_beats:g} quarter notes")


def pitch_to_hz(pitch: float, a4_hz: float = A4_HZ) -> float:
    """Frequency of a MIDI pitch in 12-tone equal temperament [Hz]."""
    return a4_hz * math.exp2((pitch - A4_PITCH) / 12.0)


def hz_to_pitch(frequency_hz: float, a4_hz: float = A4_HZ) -> float:
    """MIDI pitch, fractional, of a frequency > 0 [Hz] in 12-tone equal temperament."""
    return A4_PITCH + 12.0 * math.log2(frequency_hz / a4_hz)


def ratio_to_cents(ratio: float) -> float:
    """Size of a frequency ratio > 0 in cents."""
    return CENTS_PER_OCTAVE * math.log2(ratio)


def beats_to_s(beats: float, bpm: float) -> float:
    """Duration of quarter-note beats at a tempo in quarters per minute [s]."""
    return beats * 60.0 / bpm
