"""Scales by name, spelled from any tonic with one letter for each degree.

Names and degrees are common practice, no source; the standard ones are tested against music21.
"""

from dataclasses import dataclass

from coldtake.errors import PassageError
from coldtake.music.theory.tones import Pitch, Tone, ToneInterval, degrees, pitches_of, simplest


@dataclass(frozen=True, slots=True)
class Scale:
    """Degrees from the tonic up within one octave; `down` where the way down differs.

    mode : the mode whose signature it is written with
    """

    name: str
    up: tuple[ToneInterval, ...]
    down: tuple[ToneInterval, ...]
    mode: str


def _scale(name: str, mode: str, up: str, down: str = "") -> Scale:
    return Scale(name, degrees(up), degrees(down or up), mode)


_ALL = (
    _scale("major", "major", "1 2 3 4 5 6 7"),
    _scale("dorian", "dorian", "1 2 b3 4 5 6 b7"),
    _scale("phrygian", "phrygian", "1 b2 b3 4 5 b6 b7"),
    _scale("lydian", "lydian", "1 2 3 #4 5 6 7"),
    _scale("mixolydian", "mixolydian", "1 2 3 4 5 6 b7"),
    _scale("natural minor", "minor", "1 2 b3 4 5 b6 b7"),
    _scale("locrian", "locrian", "1 b2 b3 4 b5 b6 b7"),
    _scale("harmonic minor", "minor", "1 2 b3 4 5 b6 7"),
    _scale("melodic minor", "minor", "1 2 b3 4 5 6 7", "1 2 b3 4 5 b6 b7"),
    _scale("jazz minor", "minor", "1 2 b3 4 5 6 7"),
    _scale("lydian dominant", "mixolydian", "1 2 3 #4 5 6 b7"),
    _scale("lydian augmented", "lydian", "1 2 3 #4 #5 6 7"),
    _scale("altered", "locrian", "1 b2 b3 b4 b5 b6 b7"),
    _scale("phrygian dominant", "phrygian", "1 b2 3 4 5 b6 b7"),
    _scale("locrian natural 2", "locrian", "1 2 b3 4 b5 b6 b7"),
    _scale("whole tone", "major", "1 2 3 #4 #5 b7"),
    _scale("half-whole diminished", "mixolydian", "1 b2 b3 3 #4 5 6 b7"),
    _scale("whole-half diminished", "minor", "1 2 b3 4 b5 b6 6 7"),
    _scale("major pentatonic", "major", "1 2 3 5 6"),
    _scale("minor pentatonic", "minor", "1 b3 4 5 b7"),
    _scale("blues", "minor", "1 b3 4 b5 5 b7"),
    _scale("bebop dominant", "mixolydian", "1 2 3 4 5 6 b7 7"),
    _scale("chromatic", "major", "1 #1 2 #2 3 4 #4 5 #5 6 #6 7", "1 b2 2 b3 3 4 b5 5 b6 6 b7 7"),
)
SCALES = {scale.name: scale for scale in _ALL}


def scale_named(name: str) -> Scale:
    """A scale of the table. Raises PassageError."""
    if name not in SCALES:
        raise PassageError(
            f"“{name}” is not a scale known here.", remedy=f"Use one of: {', '.join(SCALES)}."
        )
    return SCALES[name]


def scale_tones(tonic: Tone, name: str, *, descending: bool = False) -> tuple[Tone, ...]:
    """The tones of a scale from its tonic up; no alteration is more than double."""
    scale = scale_named(name)
    ways = scale.down if descending else scale.up
    return tuple(simplest(tonic.above(way), most=2) for way in ways)


def ladder(
    tonic: Tone, name: str, low: int, high: int, *, descending: bool = False
) -> tuple[Pitch, ...]:
    """Every pitch of a scale with low <= MIDI number <= high, lowest first."""
    tones = scale_tones(tonic, name, descending=descending)
    every = [pitch for tone in tones for pitch in pitches_of(tone, low, high)]
    return tuple(sorted(every, key=lambda pitch: pitch.midi))
