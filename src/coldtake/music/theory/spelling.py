"""Written pitch: letter, accidental and octave to MIDI number and to a readable name."""

from fractions import Fraction

STEPS = {"c": 0, "d": 2, "e": 4, "f": 5, "g": 7, "a": 9, "b": 11}
# MEI data.ACCIDENTAL.WRITTEN and .GESTURAL in semitones; the quarter-tone ones have fractions.
ACCIDENTALS: dict[str, Fraction] = {
    "n": Fraction(0),
    "s": Fraction(1),
    "f": Fraction(-1),
    "ss": Fraction(2),
    "x": Fraction(2),
    "ff": Fraction(-2),
    "xs": Fraction(3),
    "sx": Fraction(3),
    "ts": Fraction(3),
    "tf": Fraction(-3),
    "nf": Fraction(-1),
    "ns": Fraction(1),
    "su": Fraction(3, 2),
    "sd": Fraction(1, 2),
    "fu": Fraction(-1, 2),
    "fd": Fraction(-3, 2),
    "nu": Fraction(1, 2),
    "nd": Fraction(-1, 2),
    "1qs": Fraction(1, 2),
    "3qs": Fraction(3, 2),
    "1qf": Fraction(-1, 2),
    "3qf": Fraction(-3, 2),
}
# MEI data.ACCIDENTAL.GESTURAL by semitones: what sounds, whatever is printed.
GESTURES = {
    Fraction(0): "n",
    Fraction(1): "s",
    Fraction(-1): "f",
    Fraction(2): "ss",
    Fraction(-2): "ff",
    Fraction(3): "ts",
    Fraction(-3): "tf",
}
SHARP_ORDER = "fcgdaeb"
_SIGNS = {0: "", 1: "♯", -1: "♭", 2: "♯♯", -2: "♭♭", 3: "♯♯♯", -3: "♭♭♭"}


def midi(step: str, octave: int, alter: Fraction = Fraction(0)) -> int:
    """Nearest MIDI number of a letter a-g, an octave (4 starts at middle C) and an alteration."""
    return round(12 * (octave + 1) + STEPS[step] + alter)


def name(step: str, octave: int, alter: Fraction = Fraction(0)) -> str:
    """Readable spelling such as "B♭4"."""
    return f"{step.upper()}{_SIGNS.get(round(alter), '')}{octave}"


def key_alter(step: str, fifths: int) -> Fraction:
    """Alteration that a key signature gives to a letter; fifths > 0 are sharps."""
    sharps, flats = SHARP_ORDER[: max(fifths, 0)], SHARP_ORDER[::-1][: max(-fifths, 0)]
    return Fraction(int(step in sharps) - int(step in flats))
