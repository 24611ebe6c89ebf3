"""Notes to ABC text (standard 2.1): bars, ties, beams, tuplets, accidentals as the page needs them.

An accidental is written where it differs from what is in force: the signature, or an earlier
accidental on that letter in the bar (in any octave, ABC 2.1, section 11.3).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from coldtake.music.theory.keys import Key
from coldtake.music.theory.tones import LETTERS, UNISON, Pitch, ToneInterval

_UNIT = Fraction(1, 2)  # L:1/8, in quarters
_ACCIDENTALS = {-2: "__", -1: "_", 0: "=", 1: "^", 2: "^^"}
_BARS_IN_LINE = 4
_LEDGER_LINES_MOST = 3  # beyond, another clef is easier to read (common practice, no source)
# Place of the lowest line, in letters above C of octave 0: E4, F3, D3, G2.
_LOWEST_LINE = {"treble": 30, "alto": 24, "tenor": 22, "bass": 18}


def beat_of(metre: tuple[int, int]) -> Fraction:
    """Quarters in a beat of a metre: a dotted quarter in compound ones."""
    compound = metre[1] == 8 and metre[0] % 3 == 0
    return Fraction(3, 2) if compound else Fraction(4, metre[1])


@dataclass(frozen=True, slots=True)
class Written:
    """A note, or a rest (pitch None).

    length : quarters as written; in a tuplet (`tuplet` in the time of `in_time_of`) it sounds
    shorter; group : notes and rests under one bracket where they are not `tuplet` many
    before, after : ABC signs around it: slurs, decorations; chord : a chord symbol above it
    others : further noteheads of a chord
    """

    pitch: Pitch | None
    length: Fraction
    tuplet: int = 0
    before: str = ""
    after: str = ""
    chord: str = ""
    in_time_of: int = 2
    group: int = 0
    others: tuple[Pitch, ...] = ()

    @property
    def sounds(self) -> Fraction:
        """Length in quarters as played (three triplet notes in the time of two)."""
        return self.length * Fraction(self.in_time_of, self.tuplet) if self.tuplet else self.length

    @property
    def bracket(self) -> str:
        """What opens its tuplet: "(3" or "(p:q:r" (ABC 2.1, section 4.13)."""
        many = self.group or self.tuplet
        plain = (self.tuplet, self.in_time_of, many) == (3, 2, 3)
        return "(3" if plain else f"({self.tuplet}:{self.in_time_of}:{many}"


@dataclass(frozen=True, slots=True)
class Page:
    """What stands before the notes.

    metre : beats and their unit; tempo_bpm : quarters a minute; beam : quarters beamed together
    clefs : the usual one, then one for bars that it would set on many ledger lines
    sounds : interval from written to sounding notes
    """

    title: str
    key: Key
    metre: tuple[int, int] = (4, 4)
    tempo_bpm: float | None = None
    beam: Fraction = Fraction(1)
    clefs: tuple[str, ...] = ("treble",)
    sounds: ToneInterval = UNISON

    @property
    def bar(self) -> Fraction:
        """Quarters in a bar."""
        return Fraction(4 * self.metre[0], self.metre[1])

    @property
    def beat(self) -> Fraction:
        """Quarters in a beat."""
        return beat_of(self.metre)


def abc_text(page: Page, notes: Sequence[Written]) -> str:
    """The whole tune; notes that pass a bar line are tied over it. `notes` fill whole bars."""
    parts = _in_bars(notes, page.bar)
    signs = _clef_signs(page, [[part.note for part in bar] for bar in parts])
    bars = [sign + _Bar(page).text(bar) for sign, bar in zip(signs, parts, strict=True)]
    lines = [
        " | ".join(bars[start : start + _BARS_IN_LINE])
        for start in range(0, len(bars), _BARS_IN_LINE)
    ]
    return _header(page) + " |\n".join(lines) + " |]\n"


def bars_text(page: Page, bars: Sequence[tuple[tuple[int, int], Sequence[Written]]]) -> str:
    """The whole tune from bars that are cut already, each with its metre; ties are the caller's."""
    found = []
    metre = page.metre
    clefs = _clef_signs(page, [notes for _, notes in bars])
    for clef, (own, notes) in zip(clefs, bars, strict=True):
        now = replace(page, metre=own)
        sign = clef + ("" if own == metre else f"[M:{own[0]}/{own[1]}]")
        metre = own
        parts, at = [], Fraction(0)
        for note in notes:
            parts.append(_Part(note, at, note.length, continued=False, continues=False))
            at += note.sounds
        found.append(sign + _Bar(now).text(parts))
    lines = [" | ".join(found[i : i + _BARS_IN_LINE]) for i in range(0, len(found), _BARS_IN_LINE)]
    return _header(page) + " |\n".join(lines) + " |]\n"


def _clef_signs(page: Page, bars: Sequence[Sequence[Written]]) -> list[str]:
    """What stands before each bar: a change of clef, or nothing."""
    now, found = page.clefs[0], []
    for bar in bars:
        pitches = [pitch for note in bar if note.pitch for pitch in (note.pitch, *note.others)]
        clef = clef_for(pitches, page.clefs)
        found.append("" if clef == now else f"[K:clef={clef}]")
        now = clef
    return found


def clef_for(pitches: Sequence[Pitch], clefs: Sequence[str]) -> str:
    """The first clef that sets some pitches with few ledger lines, else the one with fewest."""

    def most(clef: str) -> int:
        return max((_ledger_lines(pitch, clef) for pitch in pitches), default=0)

    fits = (clef for clef in clefs if most(clef) <= _LEDGER_LINES_MOST)
    return next(fits, min(clefs, key=most))


def _ledger_lines(pitch: Pitch, clef: str) -> int:
    place = 7 * pitch.octave + LETTERS.index(pitch.tone.letter)
    low = _LOWEST_LINE[clef]
    return max((place - low - 8) // 2, (low - place) // 2, 0)


def _header(page: Page) -> str:
    title = " ".join(page.title.replace("%", " ").split())
    lines = ["X:1", f"T:{title}", f"M:{page.metre[0]}/{page.metre[1]}", "L:1/8"]
    if page.tempo_bpm:
        unit = page.beat / 4
        lines.append(f"Q:{unit.numerator}/{unit.denominator}={page.tempo_bpm / float(page.beat):g}")
    shift = page.sounds.semitones
    transpose = f" transpose={shift}" if shift else ""
    lines.append(f"K:{page.key.abc} clef={page.clefs[0]}{transpose}")
    return "\n".join(lines) + "\n"


@dataclass(frozen=True, slots=True)
class _Part:
    """What of a note stands in one bar."""

    note: Written
    at: Fraction
    length: Fraction
    continued: bool
    continues: bool


def _in_bars(notes: Sequence[Written], bar: Fraction) -> list[list[_Part]]:
    bars: list[list[_Part]] = []
    at = Fraction(0)
    for note in notes:
        left, first = note.sounds, True
        while left > 0:
            if at % bar == 0:
                bars.append([])
            here = min(left, bar - at % bar)
            whole = here == note.sounds
            length = note.length if whole else here
            bars[-1].append(_Part(note, at % bar, length, not first, here < left))
            at, left, first = at + here, left - here, False
    return bars


class _Bar:
    """Writes one bar; knows which accidentals are in force."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self._altered: dict[str, int] = {}
        self._uncertain: set[str] = set()
        self._tuplet_left = 0

    def text(self, parts: Sequence[_Part]) -> str:
        """Notes of one beam stand together, a space ends a beam."""
        found = ""
        for part in parts:
            starts_group = part.at % self.page.beam == 0 and self._tuplet_left == 0
            found += (" " if found and starts_group else "") + self._part(part)
        return found

    def _part(self, part: _Part) -> str:
        note = part.note
        sign = f'"{note.chord}"' if note.chord and not part.continued else ""
        if note.tuplet and self._tuplet_left == 0:
            sign += note.bracket
            self._tuplet_left = note.group or note.tuplet
        self._tuplet_left = max(self._tuplet_left - 1, 0)
        if note.pitch is None:
            return sign + "z" + _length(part.length)
        heads = [
            self._accidental(pitch, tied=part.continued) + _letter(pitch)
            for pitch in (note.pitch, *note.others)
        ]
        body = heads[0] if len(heads) == 1 else f"[{''.join(heads)}]"
        before = "" if part.continued else note.before
        after = "-" if part.continues else note.after
        return sign + before + body + _length(part.length) + after

    def _accidental(self, pitch: Pitch, *, tied: bool) -> str:
        letter, alter = pitch.tone.letter, pitch.tone.alter
        if tied:  # carried over by the tie, not in force for what follows
            self._uncertain.add(letter)
            return ""
        in_force = self._altered.get(letter, self.page.key.alter(letter))
        if alter == in_force and letter not in self._uncertain:
            return ""
        self._altered[letter] = alter
        self._uncertain.discard(letter)
        return _ACCIDENTALS[alter]


def _letter(pitch: Pitch) -> str:
    """Letter with octave marks: C is octave 4, c octave 5."""
    if pitch.octave >= 5:
        return pitch.tone.letter.lower() + "'" * (pitch.octave - 5)
    return pitch.tone.letter + "," * (4 - pitch.octave)


def _length(quarters: Fraction) -> str:
    units = quarters / _UNIT
    if units == 1:
        return ""
    over = "" if units.numerator == 1 else str(units.numerator)
    return over + ("" if units.denominator == 1 else f"/{units.denominator}")
