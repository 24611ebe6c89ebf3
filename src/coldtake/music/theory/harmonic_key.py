"""The key that a chord progression stands in, by what its chords do there.

Each chord is weighed by its length and by how usual it is on its degree in major or minor; a blues
has seventh chords on 1 and 4 as well as on 5. Then it counts which chord is come home to: the last
one, or the first where the end leads back to it, and every one that its own dominant resolves to.
Weights are guesses after common practice, no source; held against stated keys in
`tests/music/test_harmonic_key.py`.

The signature is that of the major or minor key: a blues in F is written with one flat, and E flat
stands before the note where F7 needs it (common practice, no source).
"""

from collections.abc import Iterable, Sequence
from fractions import Fraction
from itertools import pairwise

from coldtake.music.theory.chords import Chord
from coldtake.music.theory.keys import Key, all_keys
from coldtake.music.theory.tones import Tone, tone_at_fifths

Played = tuple[Chord, Fraction]
# How usual a chord is on a degree [semitones above the tonic], from 0 to 1, by its family.
_MAJOR: dict[str, dict[int, float]] = {
    "major": {0: 1.0, 5: 1.0, 7: 0.9, 10: 0.4, 8: 0.3, 3: 0.3, 2: 0.3},
    "seventh": {0: 0.8, 5: 0.8, 7: 1.0, 2: 0.6, 9: 0.5, 4: 0.5, 11: 0.4, 10: 0.4, 1: 0.3, 8: 0.3},
    "minor": {2: 1.0, 9: 1.0, 4: 0.9, 5: 0.5, 7: 0.4},
    "half": {11: 0.8, 2: 0.3, 4: 0.4, 6: 0.4},
    "diminished": {11: 0.7, 6: 0.4, 1: 0.4, 8: 0.3, 3: 0.3, 0: 0.3},
}
_MINOR: dict[str, dict[int, float]] = {
    "minor": {0: 1.0, 5: 1.0, 7: 0.5, 2: 0.3},
    "half": {2: 1.0, 9: 0.4, 6: 0.3},
    "seventh": {7: 1.0, 10: 0.6, 8: 0.6, 5: 0.4, 0: 0.3, 2: 0.4, 3: 0.3, 1: 0.3},
    "major": {3: 0.8, 8: 0.8, 10: 0.7, 7: 0.7, 1: 0.3, 5: 0.3},
    "diminished": {11: 0.7, 2: 0.6, 6: 0.4, 1: 0.3},
}
_USUAL = {"major": _MAJOR, "minor": _MINOR}
_HOME = {"major": ("major", "seventh", "bare"), "minor": ("minor", "bare")}
_BEGINS, _ENDS, _RETURNS, _HALF_CLOSE, _RESOLVES, _LAST_CLOSE = 0.25, 0.35, 0.2, 0.15, 0.25, 0.3


def harmonic_key(played: Sequence[Played], fifths: int | None = None) -> Key:
    """The key of chords with their lengths; with a signature (`fifths`) one that it can stand for.

    C major, or the major key of the signature, where there is no chord.
    """
    heard = [(chord, float(beats)) for chord, beats in played if chord.root is not None]

    def ranked(key: Key) -> tuple[float, bool, int, int]:
        spelled = sum(chord.root == key.tonic for chord, _ in heard)
        return round(_fit(key, heard), 9), key.mode == "major", spelled, -abs(key.fifths)

    return max(_candidates(fifths), key=ranked)


def _candidates(fifths: int | None) -> Iterable[Key]:
    """Keys to choose from; of two that sound alike the chords' own spelling is taken."""
    if fifths is not None:
        return [Key(tone_at_fifths(fifths), "major"), Key(tone_at_fifths(fifths + 3), "minor")]
    return [key for mode in ("major", "minor") for key in all_keys(mode)]


def _fit(key: Key, heard: Sequence[tuple[Chord, float]]) -> float:
    whole = sum(beats for _, beats in heard)
    if not whole:
        return 0.0
    usual_share = sum(beats * _usual(key, chord) for chord, beats in heard) / whole
    return usual_share + _home(key, [chord for chord, _ in heard])


def _usual(key: Key, chord: Chord) -> float:
    family, degree = family_of(chord), _degree(key, chord)
    if family == "bare":  # root and fifth: either mode
        return max(_usual_of(key, name, degree) for name in ("major", "minor"))
    return _usual_of(key, family, degree)


def _usual_of(key: Key, family: str, degree: int) -> float:
    return _USUAL[key.mode].get(family, {}).get(degree, 0.0)


def _home(key: Key, chords: Sequence[Chord]) -> float:
    """What is come home to."""
    first, last = chords[0], chords[-1]
    ends = _is_home(key, last) or _brightened(key, chords)
    found = _BEGINS * _is_home(key, first) + _ENDS * ends
    if _is_on(key, last, 7):
        found += _HALF_CLOSE
    if _is_home(key, first) and (_is_on(key, last, 7) or _is_on(key, last, 5)):
        found += _RETURNS
    into = [two for one, two in pairwise(chords) if _leads(one, two)]
    if into:
        found += _RESOLVES * sum(_is_home(key, chord) for chord in into) / len(into)
        found += _LAST_CLOSE * _is_home(key, into[-1])
    return found


def _is_home(key: Key, chord: Chord) -> bool:
    return _degree(key, chord) == 0 and family_of(chord) in _HOME[key.mode]


def _brightened(key: Key, chords: Sequence[Chord]) -> bool:
    """Say whether a minor key ends on its major chord: a Picardy third."""
    if key.mode != "minor" or _degree(key, chords[-1]) or family_of(chords[-1]) != "major":
        return False
    own = [family_of(chord) for chord in chords[:-1] if _degree(key, chord) == 0]
    return own.count("minor") > len(own) / 2


def _is_on(key: Key, chord: Chord, degree: int) -> bool:
    return _degree(key, chord) == degree and family_of(chord) in ("major", "seventh")


def _leads(one: Chord, two: Chord) -> bool:
    """Say whether a dominant falls a fifth and comes to rest: on no further dominant."""
    if one.root is None or two.root is None:
        return False
    if family_of(one) != "seventh" or family_of(two) == "seventh":
        return False
    return (one.root.pitch_class - two.root.pitch_class) % 12 == 7


def _degree(key: Key, chord: Chord) -> int:
    root = chord.root or Tone("C")
    return (root.pitch_class - key.tonic.pitch_class) % 12


def family_of(chord: Chord) -> str:
    """What a chord is by its third, fifth and seventh; a suspended one counts as a seventh."""
    has = {way.semitones % 12 for way in chord.ways}
    if 4 in has:
        return "seventh" if 10 in has else "major"
    if 3 in has:
        if 6 in has and 7 not in has:
            return "half" if 10 in has else "diminished"
        return "minor"
    return "seventh" if 5 in has or 10 in has else "major" if 2 in has else "bare"
