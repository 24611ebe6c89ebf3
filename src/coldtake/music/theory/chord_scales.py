"""Scales that go with a chord, simplest first (common practice, no source).

A scale of the chord's family is offered when it holds every tone of the chord. The natural fifth of
an altered dominant may be missing, and the natural eleventh over a major third: both are left out
in playing.
"""

from dataclasses import dataclass

from coldtake.music.theory.chords import Chord
from coldtake.music.theory.scales import scale_tones
from coldtake.music.theory.tones import Tone, degree

# Families by third, fifth and seventh in semitones above the root (None: any or none).
_FAMILIES: tuple[tuple[tuple[int | None, int | None, int | None], tuple[str, ...]], ...] = (
    (
        (4, None, 10),
        (
            "mixolydian",
            "lydian dominant",
            "phrygian dominant",
            "altered",
            "half-whole diminished",
            "whole tone",
            "bebop dominant",
        ),
    ),
    ((5, None, 10), ("mixolydian", "dorian", "phrygian")),
    ((4, None, 11), ("major", "lydian", "lydian augmented")),
    ((4, 8, None), ("whole tone", "lydian augmented")),
    ((4, None, None), ("major", "lydian", "mixolydian", "major pentatonic")),
    ((3, 6, 9), ("whole-half diminished",)),
    ((3, 6, None), ("locrian", "locrian natural 2", "whole-half diminished")),
    ((3, None, 11), ("jazz minor", "harmonic minor")),
    ((3, None, 9), ("dorian", "jazz minor")),
    ((3, None, None), ("dorian", "natural minor", "phrygian", "minor pentatonic", "blues")),
    ((5, None, None), ("mixolydian", "major", "dorian")),
    ((None, None, None), ("major", "mixolydian", "dorian")),
)


@dataclass(frozen=True, slots=True)
class ScaleChoice:
    """A scale over a chord: its tonic is the chord's root."""

    name: str
    tones: tuple[Tone, ...]

    def __str__(self) -> str:
        """Such as "D dorian"."""
        return f"{self.tones[0]} {self.name}"


def scale_choices(chord: Chord) -> tuple[ScaleChoice, ...]:
    """The scales for a chord, simplest first; none for no chord or a very unusual one."""
    if chord.root is None:
        return ()
    names = next(names for shape, names in _FAMILIES if _is_of(chord, shape))
    choices = (ScaleChoice(name, scale_tones(chord.root, name)) for name in names)
    needed = _needed(chord)
    return tuple(c for c in choices if needed <= {tone.pitch_class for tone in c.tones})


def _semitones(chord: Chord) -> set[int]:
    return {way.semitones % 12 for way in chord.ways}


def _is_of(chord: Chord, shape: tuple[int | None, int | None, int | None]) -> bool:
    return all(part is None or part in _semitones(chord) for part in shape)


def _needed(chord: Chord) -> set[int]:
    """Pitch classes that a scale must hold."""
    root = chord.root or Tone("C")
    fifth = root.above(degree("5")).pitch_class
    altered = any(word.startswith(("b", "#", "♭", "♯", "+", "-")) for word in chord.changed)
    dominant = {4, 10} <= _semitones(chord)
    own = {tone.pitch_class for tone in chord.tones}
    if 4 in _semitones(chord):
        own -= {root.above(degree("11")).pitch_class}
    return own - {fifth} if altered and dominant else own
