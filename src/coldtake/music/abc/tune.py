"""What an ABC tune holds once read: voices of bars of events."""

from dataclasses import dataclass, field
from fractions import Fraction

from coldtake.errors import PassageError


@dataclass(frozen=True, slots=True)
class SourcePosition:
    """Line and column, both counted from 1."""

    line: int
    column: int

    def error(self, what: str, remedy: str) -> PassageError:
        """A PassageError that names this place."""
        return PassageError(what, where=f"line {self.line}, character {self.column}", remedy=remedy)


@dataclass(frozen=True, slots=True)
class AbcKey:
    """A key signature: alteration of each letter; fifths None when it is no usual signature."""

    fifths: int | None = 0
    alters: tuple[tuple[str, int], ...] = ()

    def alter(self, step: str) -> int:
        """Semitones by which the signature alters a letter."""
        return dict(self.alters).get(step, 0)


@dataclass(frozen=True, slots=True)
class Clef:
    """Shape and line as drawn; octave: -1 sounds an octave below what the plain clef says."""

    shape: str = "G"
    line: int = 2
    octave: int = 0


@dataclass(frozen=True, slots=True)
class AbcTempo:
    """unit: beat in whole notes; per_minute None for words only."""

    words: str
    unit: Fraction
    per_minute: Fraction | None
    parts: tuple[Fraction, ...] = ()


@dataclass(slots=True)
class Head:
    """One notehead. octave 4 starts at middle C; shown: the accidental that must be printed."""

    step: str
    octave: int
    alter: int
    shown: int | None
    place: SourcePosition
    tied: bool = False
    id: str = ""
    tie_stop: bool = False
    factor: Fraction = Fraction(1)


@dataclass(slots=True)
class VoiceEvent:
    """A note, chord (heads) or rest (none); length: whole notes as written, before tuplets."""

    length: Fraction
    place: SourcePosition
    heads: list[Head] = field(default_factory=list)
    hidden: bool = False
    whole_bar: bool = False
    grace: str = ""
    joined: bool = False
    tuplet: int = 0
    signs: list[str] = field(default_factory=list)
    symbols: list[str] = field(default_factory=list)
    slur_starts: int = 0
    slur_ends: int = 0
    id: str = ""


@dataclass(frozen=True, slots=True)
class Change:
    """A new key, metre or clef before the event of this number in its layer."""

    index: int
    value: "AbcKey | Clef | Metre"


@dataclass(frozen=True, slots=True)
class Metre:
    """Beats and unit; (0, 0): free. symbol: "common" or "cut" when printed so."""

    beats: tuple[int, ...]
    unit: int
    symbol: str = ""

    @property
    def length(self) -> Fraction:
        """Of a full bar [whole notes]; 0 when free."""
        return Fraction(sum(self.beats), self.unit) if self.unit else Fraction(0)


@dataclass(slots=True)
class AbcBar:
    """One bar of one voice."""

    layers: list[list[VoiceEvent]] = field(default_factory=lambda: [[]])
    changes: list[Change] = field(default_factory=list)
    tempi: list[tuple[int, AbcTempo]] = field(default_factory=list)
    tuplets: dict[int, tuple[int, int]] = field(default_factory=dict)
    opens: bool = False
    closes: bool = False
    right: str = "single"
    ending: str = ""
    jumps: list[str] = field(default_factory=list)
    part: str = ""
    metre: Metre = Metre((4,), 4)

    @property
    def is_empty(self) -> bool:
        """True when nothing with a length stands in it."""
        return not any(self.layers)


@dataclass(slots=True)
class AbcVoice:
    """One voice, on a staff of its own."""

    name: str
    label: str = ""
    clef: Clef = Clef()
    transpose: int = 0
    bars: list[AbcBar] = field(default_factory=list)
    key: AbcKey = AbcKey()


@dataclass(slots=True)
class Tune:
    """A whole tune."""

    title: str
    metre: Metre
    voices: list[AbcVoice]
    order: str = ""
