"""Rhythm cells: small groups of note values that a pattern repeats (common practice, no source)."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import count

from coldtake.errors import PassageError
from coldtake.music.abc.notating import Written
from coldtake.music.theory.instruments import Family
from coldtake.music.theory.tones import Pitch


@dataclass(frozen=True, slots=True)
class Rhythm:
    """values : lengths of one cell in quarters as written; tuplet 3: three in the time of two.

    compound : for metres of dotted beats (6/8, 9/8, 12/8); beam : quarters beamed together, or None
    for one beat
    """

    name: str
    values: tuple[Fraction, ...]
    tuplet: int = 0
    compound: bool = False
    beam: Fraction | None = None

    @property
    def cell(self) -> Fraction:
        """Quarters that one cell takes as played."""
        return sum(self.values, Fraction(0)) * (Fraction(2, 3) if self.tuplet else 1)


def _rhythm(name: str, eighths: str, tuplet: int = 0, *, compound: bool = False) -> Rhythm:
    values = tuple(Fraction(word) / 2 for word in eighths.split())
    return Rhythm(name, values, tuplet, compound)


_ALL = (
    _rhythm("whole notes", "8"),
    _rhythm("half notes", "4"),
    _rhythm("quarters", "2"),
    _rhythm("eighths", "1 1"),
    _rhythm("triplets", "1 1 1", 3),
    _rhythm("sixteenths", "1/2 1/2 1/2 1/2"),
    _rhythm("dotted", "3/2 1/2"),
    _rhythm("dotted, short first", "1/2 3/2"),
    _rhythm("long, short, short", "1 1/2 1/2"),
    _rhythm("short, short, long", "1/2 1/2 1"),
    _rhythm("syncopated", "1 2 1"),
    _rhythm("dotted quarters", "3", compound=True),
    _rhythm("eighths in threes", "1 1 1", compound=True),
    _rhythm("long and short", "2 1", compound=True),
    _rhythm("short and long", "1 2", compound=True),
    _rhythm("dotted in threes", "3/2 1/2 1", compound=True),
)
RHYTHMS = {rhythm.name: rhythm for rhythm in _ALL}
_SLURRED, _END, _SHORT = ("(", ""), ("", ")"), (".", "")
ARTICULATIONS: dict[str, tuple[tuple[str, str], ...]] = {
    "as it comes": (("", ""),),
    "staccato": (_SHORT,),
    "tenuto": (("!tenuto!", ""),),
    "slurred in twos": (_SLURRED, _END),
    "slurred in threes": (_SLURRED, ("", ""), _END),
    "slurred in fours": (_SLURRED, ("", ""), ("", ""), _END),
}
# The same two groups in the words of each family (common practice, no source).
_SHORT_ONES = {
    Family.WIND: "tongued",
    Family.BOWED: "separate",
    Family.PLUCKED: "plucked",
    Family.KEYS: "staccato",
    Family.VOICE: "staccato",
}
for _word in dict.fromkeys(_SHORT_ONES.values()):
    ARTICULATIONS[f"two slurred, two {_word}"] = (_SLURRED, _END, _SHORT, _SHORT)
    ARTICULATIONS[f"one {_word}, two slurred, one {_word}"] = (_SHORT, _SLURRED, _END, _SHORT)
METRES = ((2, 4), (3, 4), (4, 4), (6, 8), (9, 8), (12, 8))


def articulations_for(family: Family) -> tuple[str, ...]:
    """The articulations to offer a player, in the words of the instrument's family."""
    own = _SHORT_ONES[family]
    others = set(_SHORT_ONES.values()) - {own}
    return tuple(
        name
        for name in ARTICULATIONS
        if not any(f"two {word}" in name or f"one {word}" in name for word in others)
    )


def rhythm_named(name: str, metre: tuple[int, int]) -> Rhythm:
    """A rhythm of the table. Raises PassageError when its cells do not fill the metre's bars."""
    if name not in RHYTHMS:
        raise PassageError(
            f"“{name}” is not a rhythm known here.", remedy=f"Use one of: {', '.join(RHYTHMS)}."
        )
    rhythm = RHYTHMS[name]
    bar = Fraction(4 * metre[0], metre[1])
    if rhythm.compound != (metre[1] == 8) or (rhythm.cell > bar or bar % rhythm.cell):
        raise PassageError(
            f"{name.capitalize()} do not fill a bar of {metre[0]}/{metre[1]}.",
            remedy="Choose another rhythm or another metre.",
        )
    return rhythm


def set_to(pitches: Sequence[Pitch], rhythm: Rhythm, bar: Fraction) -> list[Written]:
    """Use each pitch its value; the last one is held to the end of its bar where it can be."""
    size = len(rhythm.values)
    notes = [Written(p, rhythm.values[i % size], rhythm.tuplet) for i, p in enumerate(pitches)]
    at = sum((note.sounds for note in notes[:-1]), Fraction(0))
    on_beat = at % rhythm.cell == 0
    if on_beat:
        return [*notes[:-1], Written(pitches[-1], bar - at % bar)]
    if not rhythm.tuplet:
        return [*notes[:-1], *_held(pitches[-1], -at % rhythm.cell, bar - (at % bar))]
    rests = [
        Written(None, rhythm.values[i % size], rhythm.tuplet)
        for i in range(len(notes), -(-len(notes) // size) * size)
    ]
    filled = at + sum((note.sounds for note in [notes[-1], *rests]), Fraction(0))
    return [*notes, *rests, *_rest(-filled % bar)]


def _held(pitch: Pitch, length: Fraction, left: Fraction) -> list[Written]:
    """A note to the end of its cell, and rests to the end of the bar."""
    return [Written(pitch, length), *_rest(left - length)]


def _rest(length: Fraction) -> Iterator[Written]:
    """A rest in single values, shortest first so that the beats stay visible."""
    for power in count():
        value = Fraction(1, 4) * 2**power
        if length <= 0:
            return
        if length % (2 * value):
            yield Written(None, value)
            length -= value


def articulated(notes: Sequence[Written], name: str) -> list[Written]:
    """Put slurs and dots on the notes; a slur that nothing would close is left out."""
    if name not in ARTICULATIONS:
        raise PassageError(
            f"“{name}” is not an articulation known here.",
            remedy=f"Use one of: {', '.join(ARTICULATIONS)}.",
        )
    signs = ARTICULATIONS[name]
    places = [i for i, note in enumerate(notes) if note.pitch is not None]
    whole = len(places) - len(places) % len(signs)
    found = list(notes)
    for number, place in enumerate(places):
        before, after = signs[number % len(signs)] if number < whole else ("", "")
        note = notes[place]
        found[place] = Written(note.pitch, note.length, note.tuplet, before, after, note.chord)
    return found
