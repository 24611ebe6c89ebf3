"""Charts: changes as they are written, with repeats, endings and jumps.

Typed as on paper, bars between "|":

- several chords of a bar share it evenly, "/" holds the chord before for another share
- "%" repeats the bar before; an empty bar goes on with its last chord
- "|:" and ":|" a repeat; "1." or "[1" at the start of a bar a first ending, "2." a second
- "||" or "|]" a double bar
- "Segno", "Coda", "To Coda", "Fine", "D.C.", "D.S.", "D.C. al Fine", "D.S. al Coda" in a bar

The order of playing is that of a page (`unfold`).
"""

import re
from dataclasses import dataclass, field, replace
from fractions import Fraction

from coldtake.errors import PassageError
from coldtake.music import mei
from coldtake.music.notation.changes import Changes, HarmonySpan, played, read_printed
from coldtake.music.notation.reading import page_text
from coldtake.music.notation.reading.score import Score
from coldtake.music.notation.reading.unfold import Unfolding
from coldtake.music.passage import Passage
from coldtake.music.theory.chords import Chord, read_chord
from coldtake.music.theory.harmonic_key import harmonic_key
from coldtake.music.theory.keys import C_MAJOR, Key

MOST_BARS = 400
_JUMPS = {sign: sign for sign in ("segno", "coda", "tocoda", "fine")} | {"alcoda": "tocoda"}
_JUMPS |= {f"dc{way}": "dacapo" for way in ("", "alfine", "alcoda")}
_JUMPS |= {f"ds{way}": "dalsegno" for way in ("", "alfine", "alcoda")}
_WORDS = re.compile(
    r"\b(?:D\.?\s?[CS]\.?(?:\s+al\s+(?:Fine|Coda))?|To\s+Coda|Al\s+Coda|Segno|Coda|Fine)(?!\w)",
    re.IGNORECASE,
)
_ENDING = re.compile(r"^\[?\s*(\d(?:\s*[,-]\s*\d)*)\s*(?:\.|\]|\s|$)\s*")
_BARLINES = re.compile(r"(\|\]|\|:|:\|:?|\|\||\|)")


@dataclass(frozen=True, slots=True)
class Beat:
    """A chord from a place in its bar on [quarters]."""

    chord: Chord
    at: Fraction


@dataclass(slots=True)
class ChartBar:
    """One written bar. same : written as a repeat of the bar before; double : a double bar line."""

    beats: tuple[Beat, ...] = ()
    opens_repeat: bool = False
    closes_repeat: bool = False
    ending: tuple[int, ...] = ()
    marks: set[str] = field(default_factory=set)
    same: bool = False
    double: bool = False


@dataclass(frozen=True, slots=True)
class Chart:
    """Written bars of one metre and key."""

    bars: tuple[ChartBar, ...]
    metre: tuple[int, int]
    key: Key
    title: str = ""

    @property
    def bar(self) -> Fraction:
        """Quarters in a bar."""
        return Fraction(4 * self.metre[0], self.metre[1])

    def changes(self) -> Changes:
        """The changes as played. Raises PassageError for a jump that leads nowhere."""
        spans: list[HarmonySpan] = []
        for place, index in enumerate(Unfolding(self.bars).run()):
            if place >= MOST_BARS:
                raise PassageError(f"More than {MOST_BARS} bars.", remedy="Use one chorus.")
            spans += _spans(self.bars[index].beats, place * self.bar, self.bar)
        return Changes(tuple(spans), self.metre, self.key)


def _spans(beats: tuple[Beat, ...], onset: Fraction, bar: Fraction) -> list[HarmonySpan]:
    edges = [*(beat.at for beat in beats[1:]), bar]
    return [
        HarmonySpan(beat.chord, onset + beat.at, end - beat.at)
        for beat, end in zip(beats, edges, strict=True)
    ]


def read_chart(
    text: str, metre: tuple[int, int] = (4, 4), key: Key | None = None, title: str = ""
) -> Chart:
    """Read a typed chart; without a key that of its chords. Raises PassageError naming the bar."""
    bars = _Typed(Fraction(4 * metre[0], metre[1])).read(text)
    if not bars:
        raise PassageError("There are no chords in it.", remedy="Write bars such as Dm7 | G7 | C.")
    chart = Chart(tuple(bars), metre, key or C_MAJOR, title)
    spans = chart.changes().spans
    return chart if key else replace(chart, key=harmonic_key(played(spans)))


def read_changes(text: str, metre: tuple[int, int] = (4, 4), key: Key | None = None) -> Changes:
    """Read changes typed as on a chart, as played. Raises PassageError with the bar."""
    return read_chart(text, metre, key).changes()


class _Typed:
    """Takes a typed chart bar by bar."""

    def __init__(self, bar: Fraction) -> None:
        self._bar = bar
        self._bars: list[ChartBar] = []
        self._ending: tuple[int, ...] = ()

    def read(self, text: str) -> list[ChartBar]:
        """Every bar."""
        opens = False
        for piece in _BARLINES.split(" ".join(text.split())):
            if piece in ("|:", ":|:", ":|", "||", "|]", "|"):
                self._barline(piece)
                opens = opens or piece in ("|:", ":|:")
            elif piece.strip():
                self._take(piece.strip(), opens=opens)
                opens = False
        return self._bars

    def _barline(self, sign: str) -> None:
        if self._bars and sign in (":|", ":|:"):
            self._bars[-1].closes_repeat = True
        if self._bars and sign in ("||", "|]"):
            self._bars[-1].double = True
            self._ending = ()

    def _take(self, text: str, *, opens: bool) -> None:
        if len(self._bars) >= MOST_BARS:
            raise PassageError(f"More than {MOST_BARS} bars.", remedy="Use one chorus.")
        marks, text = _marks(text)
        found = _ENDING.match(text)
        if found:
            self._ending = _passes(found[1])
            text = text[found.end() :]
        elif opens or (self._bars and self._bars[-1].closes_repeat):
            self._ending = ()  # an ending goes on over bar lines until a repeat or double bar
        made = ChartBar(opens_repeat=opens, ending=self._ending, marks=marks)
        words = text.split()
        made.same = words in (["%"], ["/."])
        made.beats = self._beats(words, same=made.same)
        if not made.beats and not marks:
            return
        if not made.beats and self._bars:  # a sign in a bar of its own belongs to its neighbour
            self._bars[-1].marks |= marks
            return
        self._bars.append(made)

    def _beats(self, words: list[str], *, same: bool) -> tuple[Beat, ...]:
        number = len(self._bars) + 1
        if same:
            if not self._bars:
                raise PassageError(
                    "There is no bar before it to repeat.", where="bar 1", remedy="Write a chord."
                )
            return self._bars[-1].beats
        found: list[Beat] = []
        for place, word in enumerate(words):
            if word == "/" and (found or self._bars):
                if not found:
                    found.append(Beat(self._bars[-1].beats[-1].chord, Fraction(0)))
                continue
            found.append(Beat(_chord(word, number), self._bar * place / len(words)))
        return tuple(found)


def _marks(text: str) -> tuple[set[str], str]:
    """Jumps and signs in a bar, and the rest of it."""
    marks: set[str] = set()
    for found in _WORDS.finditer(text):
        word = re.sub(r"[^a-z]", "", found[0].lower())
        marks.add(_JUMPS[word])
    return marks, " ".join(_WORDS.sub(" ", text).split())


def _passes(text: str) -> tuple[int, ...]:
    found: list[int] = []
    for part in text.replace(" ", "").split(","):
        low, _, high = part.partition("-")
        found += range(int(low), int(high or low) + 1)
    return tuple(found)


def _chord(word: str, bar: int) -> Chord:
    try:
        return read_chord(word)
    except PassageError as fault:
        raise PassageError(fault.what, where=f"bar {bar}", remedy=fault.remedy) from None


def chart_of(passage: Passage) -> Chart | None:
    """The chart that the chord symbols of a page make, as written; None without any.

    Symbols that cannot be read are passed over; before the first one stands N.C.
    """
    score = Score(passage.mei)
    now = read_chord("N.C.")
    bars: list[ChartBar] = []
    seen = False
    for bar, content in zip(score.bars, score.contents, strict=True):
        places = {
            page_text.place(bar, content, e): mei.text_of(e)
            for e in mei.all_of(bar.element, "harm")
        }
        beats: list[Beat] = []
        for at, symbol in sorted(places.items()):
            chord = _quiet(symbol)
            if chord is not None:
                beats.append(Beat(chord, at))
                seen = True
        if not beats or beats[0].at > 0:
            beats.insert(0, Beat(now, Fraction(0)))
        now = beats[-1].chord
        marks = bar.marks - {"opens", "closes"}
        bars.append(ChartBar(tuple(beats), bar.opens_repeat, bar.closes_repeat, bar.ending, marks))
    if not seen:
        return None
    full = max(passage.bars[:2], key=lambda b: b.length_beats)
    chart = Chart(tuple(bars), full.metre, C_MAJOR, passage.title)
    own = harmonic_key(played(chart.changes().spans), full.key_fifths)
    return replace(chart, key=own)


def _quiet(symbol: str) -> Chord | None:
    try:
        return read_printed(symbol)
    except PassageError:
        return None
