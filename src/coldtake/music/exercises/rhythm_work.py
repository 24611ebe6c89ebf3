"""Rhythms on one note: subdivisions, syncopation cells, one rhythm against another.

Cells are groups of values in quarters; "r" before a value is a rest, "t" a triplet value (three in
the time of two). Three against two is written as three quarters in the time of two in 2/4, so that
the click gives the two; both together are written as the one rhythm that they make. Common
practice, no source.
"""

from dataclasses import dataclass
from fractions import Fraction

from coldtake.music.abc.notating import Page, Written, abc_text, beat_of
from coldtake.music.theory.instruments import Instrument
from coldtake.music.theory.keys import C_MAJOR
from coldtake.music.theory.tones import Pitch, Tone

_NATURALS = "CDEFGAB"


@dataclass(frozen=True, slots=True)
class RhythmLine:
    """A rhythm that fills whole bars when repeated. words : one bar or more, in quarters."""

    name: str
    words: str
    metre: tuple[int, int] = (4, 4)
    because: str = ""

    @property
    def bar(self) -> Fraction:
        """Quarters in a bar."""
        return Fraction(4 * self.metre[0], self.metre[1])


SUBDIVISIONS = (
    RhythmLine("Quarters and eighths", "1 1 1 1 1/2 1/2 1/2 1/2 1/2 1/2 1/2 1/2"),
    RhythmLine("Eighths and triplets", "1/2 " * 8 + "t1/2 t1/2 t1/2 " * 4),
    RhythmLine("Triplets and sixteenths", "t1/2 t1/2 t1/2 " * 4 + "1/4 " * 16),
    RhythmLine(
        "One, two, three, four to a beat, and back",
        "1 1 1 1 " + "1/2 " * 8 + "t1/2 t1/2 t1/2 " * 4 + "1/4 " * 16
        + "t1/2 t1/2 t1/2 " * 4 + "1/2 " * 8 + "1 1 1 1",
    ),
)  # fmt: skip
COMPOUND_SUBDIVISIONS = (
    RhythmLine("Dotted quarters and eighths", "3/2 3/2 1/2 1/2 1/2 1/2 1/2 1/2", (6, 8)),
    RhythmLine("Eighths and sixteenths", "1/2 " * 6 + "1/4 " * 12, (6, 8)),
    RhythmLine("Three and two to a beat", "1/2 " * 6 + "3/4 3/4 3/4 3/4", (6, 8)),
)
SYNCOPATION = (
    RhythmLine("Off the beat in eighths", "r1/2 1/2 " * 4, because="only between the beats"),
    RhythmLine("Short, long, short", "1/2 1 1/2 1/2 1 1/2"),
    RhythmLine("Three, three, two", "3/2 3/2 1 3/2 3/2 1"),
    RhythmLine("An eighth early", "1 1 1 1/2 1/2 " + "r1/2 1/2 1 1 1"),
    RhythmLine("Sixteenth, eighth, sixteenth", "1/4 1/2 1/4 " * 4),
    RhythmLine("Without the first sixteenth", "r1/4 1/4 1/4 1/4 " * 4),
    RhythmLine("Late in the beat", "r3/4 1/4 " * 4),
)
COMPOUND_SYNCOPATION = (
    RhythmLine("Short and long", "1/2 1 1/2 1", (6, 8)),
    RhythmLine("Without the beat", "r1/2 1/2 1/2 r1/2 1/2 1/2", (6, 8)),
    RhythmLine("Two in the time of three", "3/4 3/4 3/4 3/4", (6, 8)),
    RhythmLine("Three quarters over two beats", "1 1 1", (6, 8)),
)
AGAINST = {
    (3, 2): (
        RhythmLine("3 against 2: the three", "t1 t1 t1", (2, 4), "the click gives the two"),
        RhythmLine("3 against 2: the two", "3/2 3/2", (3, 4), "the click gives the three"),
        RhythmLine("3 against 2: both as one rhythm", "1 1/2 1/2 1", (3, 4)),
    ),
    (4, 3): (
        RhythmLine("4 against 3: the four", "3/4 3/4 3/4 3/4", (3, 4), "the click gives the three"),
        RhythmLine("4 against 3: the three", "t2 t2 t2", (4, 4), "the click gives the four"),
        RhythmLine("4 against 3: both as one rhythm", "3/4 1/4 1/2 1/2 1/4 3/4", (3, 4)),
    ),
}
STEADY = RhythmLine("Eighths", "1/2 " * 8)
COMPOUND_STEADY = RhythmLine("Eighths", "1/2 " * 6, (6, 8))


def one_note(instrument: Instrument) -> Pitch:
    """A natural in the middle of an instrument's range."""
    middle = (instrument.low + instrument.high) // 2
    every = [Pitch(Tone(letter), octave) for letter in _NATURALS for octave in range(9)]
    return min(every, key=lambda p: (abs(p.midi - middle), p.midi))


def rhythm_abc(line: RhythmLine, instrument: Instrument, bars: int) -> str:
    """The rhythm repeated over at least so many bars, and a long note, as ABC."""
    page = Page(
        line.name,
        C_MAJOR,
        line.metre,
        beam=beat_of(line.metre),
        clefs=instrument.clefs,
        sounds=instrument.sounds,
    )
    cell = written(line.words, one_note(instrument))
    length = sum((note.sounds for note in cell), Fraction(0))
    times = max(-(-bars * line.bar // length), 1)
    last = Written(one_note(instrument), line.bar)
    return abc_text(page, [*(cell * int(times)), last])


def written(words: str, pitch: Pitch) -> list[Written]:
    """Values in words to notes and rests on one pitch."""
    return [_one(word, pitch) for word in words.split()]


def _one(word: str, pitch: Pitch) -> Written:
    rest, tuplet = word.startswith("r"), 3 if word.startswith("t") else 0
    return Written(None if rest else pitch, Fraction(word.lstrip("rt")), tuplet)
