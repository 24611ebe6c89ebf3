"""The key that some notes are most likely in.

Correlation of the time that each pitch class sounds with the probe-tone profiles of C. L. Krumhansl
and E. J. Kessler, "Tracing the dynamic changes in perceived tonal organization in a spatial
representation of musical keys", Psychological Review 89 (1982), as used in Krumhansl, Cognitive
Foundations of Musical Pitch, 1990, chapter 4.
"""

from collections.abc import Iterable
from statistics import correlation

from coldtake.music.theory.keys import C_MAJOR, Key, usual
from coldtake.music.theory.tones import Tone, tone_at_fifths

MAJOR = (6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88)
MINOR = (6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17)
_ABOVE = 8  # places on the line of fifths, from the tonic's signature, that sharps reach


def likely_key(sounding: Iterable[tuple[int, float]]) -> Key:
    """The key of (MIDI number, length) pairs; C major where nothing speaks for another."""
    weights = [0.0] * 12
    for pitch, length in sounding:
        weights[pitch % 12] += length
    if len(set(weights)) < 2:
        return C_MAJOR
    fits = {
        (correlation(weights, [profile[(i - tonic) % 12] for i in range(12)]), mode): tonic
        for mode, profile in (("major", MAJOR), ("minor", MINOR))
        for tonic in range(12)
    }
    (_, mode), tonic = max(fits.items())
    tone = next(t for f in range(-5, 7) if (t := tone_at_fifths(f)).pitch_class == tonic)
    return usual(tone, mode)


def spelled(pitch: int, key: Key) -> Tone:
    """The usual tone of a MIDI number in a key.

    Of the tones of one sound the one between three flatter and eight sharper than the major key of
    the signature (common practice, no source): in C major and A minor B flat and E flat, but
    F, C and G sharp.
    """
    places = range(key.fifths - 3, key.fifths + _ABOVE + 1)
    return next(t for f in places if (t := tone_at_fifths(f)).pitch_class == pitch % 12)
