"""Keys: the fifteen major and fifteen minor signatures, the modes, and twelve keys in an order.

Fifths that a mode lies from the major key of the same tonic: the table of ABC 2.1, section 3.1.14
(general theory; MusicXML counts the same way).
"""

import random
from dataclasses import dataclass
from enum import StrEnum

from coldtake.errors import PassageError
from coldtake.music.theory.spelling import SHARP_ORDER
from coldtake.music.theory.tones import LETTERS, Tone, ToneInterval, split_tone, tone_at_fifths

MODES = {
    "major": 0,
    "ionian": 0,
    "mixolydian": -1,
    "dorian": -2,
    "minor": -3,
    "aeolian": -3,
    "phrygian": -4,
    "locrian": -5,
    "lydian": 1,
}
MOST_SIGNS = 7
_SHORT = {"": "major", "m": "minor", "min": "minor", "maj": "major"}
_USUAL_SIGNS = 6  # beyond, the key of the same sound is easier to read


class KeyOrder(StrEnum):
    """Ways through the twelve keys."""

    FOURTHS = "fourths"
    CHROMATIC = "chromatic"
    SHUFFLED = "shuffled"


@dataclass(frozen=True, slots=True)
class Key:
    """A tonic and a mode. Raises PassageError when it would need more than seven signs."""

    tonic: Tone
    mode: str = "major"

    def __post_init__(self) -> None:
        if self.mode not in MODES:
            raise PassageError(f"“{self.mode}” is not a mode.", remedy=f"Use {', '.join(MODES)}.")
        if abs(self.fifths) > MOST_SIGNS:
            kind = "sharps" if self.fifths > 0 else "flats"
            other = tone_at_fifths(self.tonic.fifths + (12 if self.fifths < 0 else -12))
            raise PassageError(
                f"{self} would need {abs(self.fifths)} {kind}.",
                remedy=f"Write it as {other} {self.mode}, which sounds the same.",
            )

    @property
    def fifths(self) -> int:
        """Sharps of the signature; negative: flats."""
        return self.tonic.fifths + MODES[self.mode]

    @property
    def signature(self) -> tuple[Tone, ...]:
        """The altered tones in the order in which they are written."""
        letters = SHARP_ORDER if self.fifths > 0 else SHARP_ORDER[::-1]
        sign = 1 if self.fifths > 0 else -1
        return tuple(Tone(letter.upper(), sign) for letter in letters[: abs(self.fifths)])

    def alter(self, letter: str) -> int:
        """Alteration that the signature gives to a letter A-G."""
        return next((tone.alter for tone in self.signature if tone.letter == letter), 0)

    @property
    def tones(self) -> tuple[Tone, ...]:
        """The seven tones from the tonic up."""
        start = LETTERS.index(self.tonic.letter)
        letters = (LETTERS * 2)[start : start + 7]
        return tuple(Tone(letter, self.alter(letter)) for letter in letters)

    @property
    def abc(self) -> str:
        """As in the K: field of ABC: "Bbmin", "F#dor"."""
        sign = ("#" if self.tonic.alter > 0 else "b") * abs(self.tonic.alter)
        return f"{self.tonic.letter}{sign}{self.mode[:3]}"

    def moved(self, interval: ToneInterval) -> "Key":
        """The key at an interval, in the usual spelling where two sound the same."""
        return usual(self.tonic.above(interval), self.mode)

    def __str__(self) -> str:
        """Such as "B♭ minor"."""
        return f"{self.tonic} {self.mode}"


C_MAJOR = Key(Tone("C"))


def usual(tonic: Tone, mode: str) -> Key:
    """The key on a tonic, or the one of the same sound when that needs at most six signs."""
    fifths = tonic.fifths + MODES[mode]
    while abs(fifths) > _USUAL_SIGNS:
        fifths += 12 if fifths < 0 else -12
    return Key(tone_at_fifths(fifths - MODES[mode]), mode)


def read_key(text: str) -> Key:
    """Read "Bb", "F# minor", "Em", "D dorian". Raises PassageError."""
    tonic, rest = split_tone(text.strip())
    word = rest.strip()
    mode = _SHORT.get(word) or next((m for m in MODES if m[:3] == word[:3].lower()), word)
    return Key(tonic, mode)


def all_keys(mode: str) -> tuple[Key, ...]:
    """The fifteen keys of a mode, from seven flats to seven sharps."""
    places = range(-MOST_SIGNS, MOST_SIGNS + 1)
    return tuple(Key(tone_at_fifths(fifths - MODES[mode]), mode) for fifths in places)


def twelve_keys(order: KeyOrder, mode: str = "major", *, seed: int = 0) -> tuple[Key, ...]:
    """Twelve keys of a mode, each sound once, beginning on C (shuffled: by the seed)."""
    up = ToneInterval(3, 5) if order is KeyOrder.FOURTHS else None
    keys = [usual(Tone("C"), mode)]
    while len(keys) < 12:
        step = up or ToneInterval(1, 1)
        keys.append(keys[-1].moved(step))
    if order is KeyOrder.SHUFFLED:
        random.Random(seed).shuffle(keys)
    return tuple(keys)
