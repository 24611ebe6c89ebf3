"""A passage: written music as the list of notes that must sound, with links to the notation.

Conventions:
- Time is in quarter-note beats *as played*: repeats are written out, a pick-up bar starts at 0.
- `pitch` is the sounding MIDI number (a written C for a B-flat clarinet sounds 58);
  `written_pitch` is what stands on the page.
- A tied chain is one note whose `notation_ids` names every notehead of the chain.
- A note played twice because of a repeat appears twice: the `id` of the second playing ends in
  "~2", its `notation_ids` are the same.
- Grace notes are kept, with `grace` true and the small length that they take from their neighbour.
"""

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from coldtake.music.theory.tones import pitch_name

TOGETHER_BEATS = 1e-6  # onsets closer than this are one chord


@dataclass(frozen=True, slots=True)
class PassageNote:
    """One note that must sound.

    id : unique within the passage; notation_ids : ids of the noteheads in the engraving
    onset_beats, duration_beats : >= 0, quarter-note beats as played
    pitch, written_pitch : MIDI numbers; name : as it is read, such as "B♭4", under an octave line
        that of the note meant, not of the notehead
    bar : number of the bar as printed ("0" for a pick-up); bar_index : 0-based, as played
    ornament : "trill", "mordent" or "turn" where the page asks for one on it, else ""
    """

    id: str
    notation_ids: tuple[str, ...]
    onset_beats: float
    duration_beats: float
    pitch: int
    written_pitch: int
    name: str
    bar: str
    bar_index: int
    staff: int = 1
    voice: int = 1
    grace: bool = False
    ornament: str = ""

    @property
    def end_beats(self) -> float:
        """Written end, quarter-note beats as played."""
        return self.onset_beats + self.duration_beats


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar as played. length_beats is what it really holds (a pick-up holds less)."""

    index: int
    label: str
    onset_beats: float
    length_beats: float
    metre: tuple[int, int]
    key_fifths: int = 0


@dataclass(frozen=True, slots=True)
class TempoMark:
    """A tempo from `onset_beats` on, in quarter notes per minute; `beat_unit_beats` as written."""

    onset_beats: float
    bpm: float
    beat_unit_beats: float = 1.0


@dataclass(frozen=True, slots=True)
class Harmony:
    """A chord symbol as written, in force from `onset_beats` on."""

    onset_beats: float
    symbol: str


@dataclass(frozen=True)
class Passage:
    """Written music, read once, never changed.

    notes : ordered by onset, then pitch; mei : the notation itself, whose xml:ids the notes name
    transposition : sounding minus written pitch in semitones (B-flat clarinet: -2)
    """

    title: str
    notes: tuple[PassageNote, ...]
    bars: tuple[Bar, ...]
    tempi: tuple[TempoMark, ...]
    mei: str
    harmonies: tuple[Harmony, ...] = ()
    part_names: tuple[str, ...] = ()
    transposition: int = 0

    @cached_property
    def length_beats(self) -> float:
        """End of the last bar or note, quarter-note beats as played."""
        bar_end = max((b.onset_beats + b.length_beats for b in self.bars), default=0.0)
        return max(bar_end, max((n.end_beats for n in self.notes), default=0.0))

    @cached_property
    def is_one_line(self) -> bool:
        """True when no two notes sound together: what the listener can judge note by note."""
        return all(a.end_beats <= b.onset_beats + TOGETHER_BEATS for a, b in pairwise(self.notes))

    @cached_property
    def written_bpm(self) -> float | None:
        """First written tempo in quarter notes per minute, or None when the page gives none."""
        return self.tempi[0].bpm if self.tempi else None

    def name_as_read(self, pitch: float) -> str:
        """Name of a sounding pitch [MIDI number] as this player reads it.

        A B-flat clarinet reads a sounding B♭3 as C4. Told beside a note's own name, both are in the
        same reading.
        """
        return pitch_name(pitch - self.transposition)

    def duration_s(self, bpm: float) -> float:
        """Length when played at one steady tempo > 0 in quarters per minute [s]."""
        return self.length_beats * 60.0 / bpm


NOTHING_WRITTEN = Passage("", (), (), (), "")
