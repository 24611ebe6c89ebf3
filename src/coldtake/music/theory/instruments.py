"""Instruments: what a written note sounds, the clef, and a range that is safe to write for.

Transpositions are facts of the instruments' notation. `low` and `high` are written notes that a
player of some years reaches without strain: a choice within the sounding ranges (`WIDEST`) that
T. Bača, J. W. Oberholtzer and others publish in Abjad 3.19, instruments.py, 2023. The recorders,
the bass guitar and the trumpet in B flat are not in that list (common practice, no source). A
player sets their own.
"""

from dataclasses import dataclass
from enum import StrEnum

from coldtake.errors import PassageError
from coldtake.music.theory.keys import Key
from coldtake.music.theory.tones import UNISON, ToneInterval, read_pitch

_OCTAVE = ToneInterval(7, 12)


class Family(StrEnum):
    """How the sound is made, as far as it changes what can be asked of a player."""

    BOWED = "bowed strings"
    PLUCKED = "plucked strings"
    KEYS = "keyboard"
    WIND = "wind"
    VOICE = "voice"


@dataclass(frozen=True, slots=True)
class Instrument:
    """One instrument's notation and range.

    sounds : interval from the written to the sounding note; low, high : written MIDI numbers
    other_clef : where its own would need many ledger lines
    """

    name: str
    sounds: ToneInterval
    clef: str
    low: int
    high: int
    other_clef: str = ""

    @property
    def family(self) -> Family:
        """How its sound is made: a wind instrument where `_FAMILIES` says nothing else."""
        if self.name.endswith(" voice"):
            return Family.VOICE
        return _FAMILIES.get(self.name, Family.WIND)

    @property
    def clefs(self) -> tuple[str, ...]:
        """The clefs it is written in, its own first."""
        return (self.clef, self.other_clef) if self.other_clef else (self.clef,)

    @property
    def widest(self) -> tuple[int, int] | None:
        """Written MIDI numbers of the published range, None where the source has none."""
        if self.name not in WIDEST:
            return None
        low, high = (read_pitch(name).midi - self.sounds.semitones for name in WIDEST[self.name])
        return low, high

    def written_key(self, concert: Key) -> Key:
        """The key that this instrument reads when the others play in a key."""
        return concert.moved(-self.sounds)

    def concert_key(self, written: Key) -> Key:
        """The key that sounds when this instrument reads a key."""
        return written.moved(self.sounds)

    def sounds_as(self, written: Key) -> str:
        """What a written key sounds, in words: another key, or the same an octave away."""
        if self.sounds.semitones % 12:
            return f"{written} on the page sounds {self.concert_key(written)}"
        return f"it sounds an octave {'lower' if self.sounds.semitones < 0 else 'higher'}"


def _below(steps: int, semitones: int) -> ToneInterval:
    return ToneInterval(-steps, -semitones)


_FAMILIES = {
    **dict.fromkeys(("violin", "viola", "cello", "double bass"), Family.BOWED),
    **dict.fromkeys(("guitar", "bass guitar"), Family.PLUCKED),
    "piano": Family.KEYS,
}
_ALL = (
    Instrument("violin", UNISON, "treble", 55, 91),
    Instrument("viola", UNISON, "alto", 48, 84, "treble"),
    Instrument("cello", UNISON, "bass", 36, 72, "tenor"),
    Instrument("double bass", _below(7, 12), "bass", 40, 67, "tenor"),
    Instrument("guitar", _below(7, 12), "treble", 52, 88),
    Instrument("bass guitar", _below(7, 12), "bass", 40, 67),
    Instrument("piano", UNISON, "treble", 55, 96, "bass"),  # the right hand's line
    Instrument("piccolo", _OCTAVE, "treble", 62, 91),
    Instrument("flute", UNISON, "treble", 60, 95),
    Instrument("descant recorder", _OCTAVE, "treble", 60, 86),
    Instrument("treble recorder", UNISON, "treble", 65, 91),
    Instrument("oboe", UNISON, "treble", 58, 86),
    Instrument("english horn in F", _below(4, 7), "treble", 60, 84),
    Instrument("clarinet in B♭", _below(1, 2), "treble", 52, 89),
    Instrument("clarinet in A", _below(2, 3), "treble", 52, 89),
    Instrument("clarinet in E♭", ToneInterval(2, 3), "treble", 52, 84),
    Instrument("bass clarinet in B♭", _below(8, 14), "treble", 52, 79),
    Instrument("bassoon", UNISON, "bass", 34, 67, "tenor"),
    Instrument("soprano saxophone in B♭", _below(1, 2), "treble", 58, 86),
    Instrument("alto saxophone in E♭", _below(5, 9), "treble", 58, 89),
    Instrument("tenor saxophone in B♭", _below(8, 14), "treble", 58, 89),
    Instrument("baritone saxophone in E♭", _below(12, 21), "treble", 58, 86),
    Instrument("horn in F", _below(4, 7), "treble", 54, 79),
    Instrument("trumpet in B♭", _below(1, 2), "treble", 54, 82),
    Instrument("trumpet in C", UNISON, "treble", 54, 82),
    Instrument("trombone", UNISON, "bass", 40, 67, "tenor"),
    Instrument("tuba", UNISON, "bass", 29, 57),
    Instrument("soprano voice", UNISON, "treble", 60, 81),
    Instrument("mezzo-soprano voice", UNISON, "treble", 57, 77),
    Instrument("alto voice", UNISON, "treble", 55, 74),
    Instrument("tenor voice", _below(7, 12), "treble", 60, 79),
    Instrument("baritone voice", UNISON, "bass", 45, 64),
    Instrument("bass voice", UNISON, "bass", 41, 62),
)
# Sounding ranges as the source prints them.
WIDEST: dict[str, tuple[str, str]] = {
    "violin": ("G3", "G7"),
    "viola": ("C3", "D6"),
    "cello": ("C2", "G5"),
    "double bass": ("C1", "G4"),
    "guitar": ("E2", "E5"),
    "piano": ("A0", "C8"),
    "piccolo": ("D5", "C8"),
    "flute": ("C4", "D7"),
    "oboe": ("Bb3", "A6"),
    "english horn in F": ("E3", "C6"),
    "clarinet in B♭": ("D3", "Bb6"),
    "clarinet in A": ("Db3", "A6"),
    "clarinet in E♭": ("F3", "C7"),
    "bass clarinet in B♭": ("Bb1", "G5"),
    "bassoon": ("Bb1", "Eb5"),
    "soprano saxophone in B♭": ("Ab3", "E6"),
    "alto saxophone in E♭": ("Db3", "A5"),
    "tenor saxophone in B♭": ("Ab2", "E5"),
    "baritone saxophone in E♭": ("C2", "Ab4"),
    "horn in F": ("B1", "F5"),
    "trumpet in C": ("F#3", "D6"),
    "trombone": ("E2", "Eb5"),
    "tuba": ("D1", "F4"),
    "soprano voice": ("C4", "E6"),
    "mezzo-soprano voice": ("A3", "C6"),
    "alto voice": ("F3", "G5"),
    "tenor voice": ("C3", "D5"),
    "baritone voice": ("A2", "A4"),
    "bass voice": ("E2", "F4"),
}
INSTRUMENTS = {instrument.name: instrument for instrument in _ALL}


def instrument_named(name: str) -> Instrument:
    """An instrument of the table. Raises PassageError."""
    if name not in INSTRUMENTS:
        raise PassageError(
            f"“{name}” is not an instrument known here.",
            remedy="Choose one with the same clef and transposition.",
        )
    return INSTRUMENTS[name]


def by_family() -> dict[str, tuple[str, ...]]:
    """Their names under those of their families, in the table's order."""
    return {family.value: tuple(i.name for i in _ALL if i.family is family) for family in Family}
