"""Spelled tones and pitches, and the intervals between them.

A tone is a letter with its accidental, without an octave; a pitch stands in an octave (octave 4
starts at middle C). An interval counts letters and semitones, so that C to E flat and C to D sharp
are told apart. Degrees are written as on a lead sheet: "b3", "#11", counted from the major scale.
"""

import re
from dataclasses import dataclass

from coldtake.errors import PassageError

LETTERS = "CDEFGAB"
_SEMITONES = (0, 2, 4, 5, 7, 9, 11)  # of the letters above C
_FIFTHS = "FCGDAEB"  # the letters in order of fifths
_SIGN = {"#": 1, "♯": 1, "x": 2, "b": -1, "♭": -1}
_TONE = re.compile(r"([A-G])(x|[#♯]{1,2}|[b♭]{1,2})?")
_DEGREE = re.compile(r"([#♯b♭]*)(\d+)")


_USUAL_STEPS = (0, 1, 1, 2, 2, 3, 4, 4, 5, 5, 6, 6)  # of 0 to 11 semitones: minor third, not #2


@dataclass(frozen=True, slots=True)
class ToneInterval:
    """So many letters and so many semitones up (both negative: down)."""

    steps: int
    semitones: int

    def __neg__(self) -> "ToneInterval":
        """The same distance the other way."""
        return ToneInterval(-self.steps, -self.semitones)

    def __add__(self, other: "ToneInterval") -> "ToneInterval":
        """One after the other."""
        return ToneInterval(self.steps + other.steps, self.semitones + other.semitones)


UNISON = ToneInterval(0, 0)


def usual_interval(semitones: int) -> ToneInterval:
    """The usual interval of so many semitones: 2 are a second, 3 a minor third, 6 a fifth."""
    octaves, within = divmod(abs(semitones), 12)
    interval = ToneInterval(7 * octaves + _USUAL_STEPS[within], abs(semitones))
    return interval if semitones >= 0 else -interval


@dataclass(frozen=True, slots=True)
class Tone:
    """A letter A-G with its alteration in semitones."""

    letter: str
    alter: int = 0

    @property
    def pitch_class(self) -> int:
        """0 for C to 11 for B."""
        return (_SEMITONES[LETTERS.index(self.letter)] + self.alter) % 12

    @property
    def fifths(self) -> int:
        """Place on the line of fifths: C 0, G 1, F -1, F sharp 6."""
        return _FIFTHS.index(self.letter) - 1 + 7 * self.alter

    def above(self, interval: ToneInterval) -> "Tone":
        """The tone at an interval from this one."""
        return Pitch(self, 4).above(interval).tone

    def __str__(self) -> str:
        """Such as "B♭"."""
        return self.letter + ("♯" if self.alter > 0 else "♭") * abs(self.alter)


@dataclass(frozen=True, slots=True)
class Pitch:
    """A tone in an octave."""

    tone: Tone
    octave: int

    @property
    def midi(self) -> int:
        """MIDI number; 60 is middle C. The octave is that of the letter: B sharp 3 is 60."""
        place = _SEMITONES[LETTERS.index(self.tone.letter)]
        return 12 * (self.octave + 1) + place + self.tone.alter

    def above(self, interval: ToneInterval) -> "Pitch":
        """The pitch at an interval from this one."""
        place = 7 * self.octave + LETTERS.index(self.tone.letter) + interval.steps
        natural = Pitch(Tone(LETTERS[place % 7]), place // 7)
        alter = self.midi + interval.semitones - natural.midi
        return Pitch(Tone(natural.tone.letter, alter), natural.octave)

    def __str__(self) -> str:
        """Such as "B♭4"."""
        return f"{self.tone}{self.octave}"


def read_pitch(text: str) -> Pitch:
    """Read "Bb3" or "F#5"; octave 4 starts at middle C. Raises PassageError."""
    tone, octave = split_tone(text.strip())
    if not re.fullmatch(r"[0-9]", octave):
        raise PassageError(
            f"“{text}” is not a note with its octave.", remedy="Write it as E3; middle C is C4."
        )
    return Pitch(tone, int(octave))


NAMES = ("C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "A♭", "A", "B♭", "B")


def pitch_name(pitch: float) -> str:
    """Name of the nearest tempered note [MIDI number], such as E♭4, where no key spells it."""
    number = round(pitch)
    return f"{NAMES[number % 12]}{number // 12 - 1}"


def tone_at_fifths(fifths: int) -> Tone:
    """The tone at a place on the line of fifths: the inverse of `Tone.fifths`."""
    return Tone(_FIFTHS[(fifths + 1) % 7], (fifths + 1) // 7)


def simplest(tone: Tone, *, most: int = 1) -> Tone:
    """The tone itself, or one of the same sound whose alteration is at most `most` semitones."""
    while abs(tone.alter) > most:
        tone = tone_at_fifths(tone.fifths + (12 if tone.alter < 0 else -12))
    return tone


def between(low: Tone, high: Tone) -> ToneInterval:
    """The interval from a tone up to the next other one, less than an octave."""
    steps = (LETTERS.index(high.letter) - LETTERS.index(low.letter)) % 7
    semitones = (high.pitch_class - low.pitch_class) % 12
    if steps == 0 and semitones > 6:  # such as C to C flat
        return ToneInterval(0, semitones - 12)
    return ToneInterval(steps, semitones)


def pitch_near(tone: Tone, midi: float) -> Pitch:
    """The pitch of a tone that lies nearest to a MIDI number; the lower of two equally near."""
    octaves = [Pitch(tone, octave) for octave in range(-1, 11)]
    return min(octaves, key=lambda pitch: (abs(pitch.midi - midi), pitch.midi))


def pitches_of(tone: Tone, low: int, high: int) -> tuple[Pitch, ...]:
    """All pitches of a tone with low <= MIDI number <= high, lowest first."""
    every = (Pitch(tone, octave) for octave in range(-1, 11))
    return tuple(pitch for pitch in every if low <= pitch.midi <= high)


def degree(text: str) -> ToneInterval:
    """The interval from the root to a degree such as "5", "b3", "#11", "bb7"."""
    found = _DEGREE.fullmatch(text)
    if found is None or not 1 <= int(found[2]) <= 14:
        raise ValueError(f"“{text}” is no degree; write one such as b3 or #11")
    octaves, place = divmod(int(found[2]) - 1, 7)
    alter = sum(_SIGN[sign] for sign in found[1])
    return ToneInterval(7 * octaves + place, 12 * octaves + _SEMITONES[place] + alter)


def degrees(text: str) -> tuple[ToneInterval, ...]:
    """Several degrees with spaces between: "1 b3 5"."""
    return tuple(degree(word) for word in text.split())


def split_tone(text: str) -> tuple[Tone, str]:
    """The tone at the start of a text, and the rest. Raises PassageError."""
    found = _TONE.match(text)
    if found is None:
        raise PassageError(
            f"“{text}” does not begin with a note name.",
            remedy="Begin with a letter from A to G, and # or b if there is one.",
        )
    return Tone(found[1], sum(_SIGN[sign] for sign in found[2] or "")), text[found.end() :]
