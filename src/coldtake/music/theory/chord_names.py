"""Chord symbols as they are printed: with the signs for sharp and flat."""

import re

_SIGNS = str.maketrans("b#", "♭♯")
_ROOT = re.compile(r"^([A-G])([b#]{1,2})")
_NUMBER = re.compile(r"([b#])(?=\d)")
_BASS = re.compile(r"([/|])([A-G])([b#]{1,2})")


def printed(symbol: str) -> str:
    """Such as "F♯m7♭5/C" for "F#m7b5/C"; a scale's name such as "E♭ dorian" too."""
    text = _ROOT.sub(lambda m: m[1] + m[2].translate(_SIGNS), symbol)
    text = _NUMBER.sub(lambda m: m[1].translate(_SIGNS), text)
    return _BASS.sub(lambda m: m[1] + m[2] + m[3].translate(_SIGNS), text)
