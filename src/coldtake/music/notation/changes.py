"""Changes: chords over bars as played, and the lines that spell them out.

They come from a chart (`charts`) or from the chord symbols of a page. Guide tones are the third and
the seventh (sixth, or fifth, where there is none), led to the nearest of the next chord (common
practice, no source).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from coldtake.errors import PassageError
from coldtake.music.abc.notating import Page, Written, abc_text
from coldtake.music.passage import Passage
from coldtake.music.theory.chords import Chord, read_chord
from coldtake.music.theory.harmonic_key import harmonic_key
from coldtake.music.theory.instruments import Instrument
from coldtake.music.theory.keys import C_MAJOR, Key
from coldtake.music.theory.tones import (
    Pitch,
    Tone,
    ToneInterval,
    between,
    pitch_near,
    pitches_of,
    simplest,
)

_LOW_PART = 5  # semitones above the lowest note, where roots lie
_THIRDS = ((2,), (3,), (1,))  # letters above the root: the third, in a suspended chord 4 or 2
_SEVENTHS = ((6,), (5,), (4,))


@dataclass(frozen=True, slots=True)
class HarmonySpan:
    """A chord in force for `beats` quarters from `onset` on."""

    chord: Chord
    onset: Fraction
    beats: Fraction


@dataclass(frozen=True, slots=True)
class Changes:
    """A chord progression as played, repeats written out; chords as written for the reader."""

    spans: tuple[HarmonySpan, ...]
    metre: tuple[int, int] = (4, 4)
    key: Key = C_MAJOR

    @property
    def bar(self) -> Fraction:
        """Quarters in a bar."""
        return Fraction(4 * self.metre[0], self.metre[1])

    @property
    def bars(self) -> int:
        """Number of bars as played."""
        return round(sum((span.beats for span in self.spans), Fraction(0)) / self.bar)

    def moved(self, interval: ToneInterval) -> "Changes":
        """The changes at an interval: for a transposing instrument, or another key.

        The key takes its usual spelling, and the chords are spelled as that key has them.
        """
        key = self.key.moved(interval)
        way = between(self.key.tonic, key.tonic)
        spans = tuple(HarmonySpan(s.chord.moved(way), s.onset, s.beats) for s in self.spans)
        return Changes(spans, self.metre, key)


def played(spans: Sequence[HarmonySpan]) -> list[tuple[Chord, Fraction]]:
    """Each chord with its length in quarters."""
    return [(span.chord, span.beats) for span in spans]


def changes_of(passage: Passage, key: Key | None = None) -> tuple[Changes | None, tuple[str, ...]]:
    """The changes on a page, chords as written there, and the symbols that could not be read.

    key : where the player names it, else one that the page's signature can stand for

    The changes are None when the page has no readable chord symbol. Beats before the first one are
    N.C.
    """
    marks: list[tuple[Fraction, Chord]] = []
    unread: list[str] = []
    for harmony in passage.harmonies:
        try:
            marks.append(
                (Fraction(harmony.onset_beats).limit_denominator(96), read_printed(harmony.symbol))
            )
        except PassageError:
            unread.append(harmony.symbol)
    if not marks or not passage.bars:
        return None, tuple(dict.fromkeys(unread))
    end = Fraction(passage.length_beats).limit_denominator(96)
    if marks[0][0] > 0:
        marks.insert(0, (Fraction(0), read_chord("N.C.")))
    edges = [*(onset for onset, _ in marks[1:]), end]
    spans = [HarmonySpan(c, o, e - o) for (o, c), e in zip(marks, edges, strict=True) if e > o]
    full = max(passage.bars[:2], key=lambda bar: bar.length_beats)
    key = key or harmonic_key(played(spans), full.key_fifths)
    return Changes(tuple(spans), full.metre, key), tuple(dict.fromkeys(unread))


def read_printed(symbol: str) -> Chord:
    """A symbol from a page, where accidentals may be printed signs."""
    return read_chord(symbol.replace("♭", "b").replace("♯", "#"))


Line = tuple[Pitch | None, ...]


def roots(changes: Changes, low: int, high: int) -> Line:
    """The root (or slash bass) under each chord, low in the range, near the one before.

    low, high : written MIDI numbers an octave or more apart, here and below
    """
    line: list[Pitch | None] = []
    for span in changes.spans:
        tone = span.chord.bass or span.chord.root
        before = next((p for p in reversed(line) if p is not None), None)
        near = low + _LOW_PART
        middle = near if before is None else (near + before.midi) / 2
        line.append(None if tone is None else _within(simplest(tone), middle, low, high))
    return tuple(line)


def _within(tone: Tone, near: float, low: int, high: int) -> Pitch:
    """The pitch of a tone in the range that lies nearest; the lower of two equally near."""
    own = pitches_of(tone, low, high) or (pitch_near(tone, near),)
    return min(own, key=lambda pitch: (abs(pitch.midi - near), pitch.midi))


def guide_pair(chord: Chord) -> tuple[Tone, Tone] | None:
    """The two tones that tell a chord's sound: third and seventh, or what stands for them."""
    first = _degree_of(chord, _THIRDS)
    second = _degree_of(chord, _SEVENTHS)
    return None if first is None or second is None else (first, second)


def _degree_of(chord: Chord, choices: Sequence[tuple[int, ...]]) -> Tone | None:
    if chord.root is None:
        return None
    for steps in choices:
        for way in chord.ways:
            if way.steps in steps:
                return simplest(chord.root.above(way), most=2)
    return None


def guide_tones(changes: Changes, low: int, high: int) -> tuple[Line, Line]:
    """Two lines through the changes: the first begins on the third, the second on the seventh.

    Each chord's two tones are given to the lines so that both together move least.
    """
    lines: tuple[list[Pitch | None], list[Pitch | None]] = ([], [])
    last: tuple[Pitch, Pitch] | None = None
    for span in changes.spans:
        pair = guide_pair(span.chord)
        if pair is None:
            for line in lines:
                line.append(None)
            continue
        last = _nearest(pair, last, low, high)
        for line, pitch in zip(lines, last, strict=True):
            line.append(pitch)
    return tuple(lines[0]), tuple(lines[1])


def _nearest(
    pair: tuple[Tone, Tone], last: tuple[Pitch, Pitch] | None, low: int, high: int
) -> tuple[Pitch, Pitch]:
    if last is None:
        middle = (low + high) / 2
        return _within(pair[0], middle, low, high), _within(pair[1], middle, low, high)
    ways = [
        (_within(one, last[0].midi, low, high), _within(two, last[1].midi, low, high))
        for one, two in (pair, pair[::-1])
    ]
    return min(
        ways, key=lambda way: sum(abs(p.midi - b.midi) for p, b in zip(way, last, strict=True))
    )


def held(changes: Changes, line: Line) -> list[Written]:
    """One pitch for each chord, held as long as the chord."""
    return [
        Written(pitch, span.beats, chord=span.chord.symbol)
        for pitch, span in zip(line, changes.spans, strict=True)
    ]


def arpeggios(changes: Changes, low: int, high: int) -> list[Written]:
    """Each chord broken from its root up, in quarters; a longer chord turns back down."""
    notes: list[Written] = []
    for span in changes.spans:
        tones = span.chord.tones[:4]
        tops = _stacked(tones, low, high)
        cycle = [*tops, *reversed(tops[1:-1])] or [None]
        values = _quarters(span.beats)
        for place, value in enumerate(values):
            symbol = span.chord.symbol if place == 0 else ""
            notes.append(Written(cycle[place % len(cycle)], value, chord=symbol))
    return notes


def _quarters(beats: Fraction) -> list[Fraction]:
    whole, rest = divmod(beats, 1)
    return [Fraction(1)] * int(whole) + ([rest] if rest else [])


def _stacked(tones: Sequence[Tone], low: int, high: int) -> list[Pitch | None]:
    """Tones one above the other, the first in the octave from `low` up; folded back at `high`."""
    found: list[Pitch | None] = []
    least = low
    for tone in tones:
        spelled = simplest(tone, most=2)
        pitch = min(
            (p for o in range(-1, 11) if (p := Pitch(spelled, o)).midi >= least),
            key=lambda p: p.midi,
        )
        if pitch.midi > high:
            pitch = Pitch(spelled, pitch.octave - 1)
        found.append(pitch)
        least = pitch.midi + 1
    return found


def changes_abc(
    changes: Changes,
    title: str,
    notes: Callable[[Changes], Sequence[Written]],
    instrument: Instrument,
) -> str:
    """A line through changes as ABC, written for the instrument, with the chords above it."""
    page = Page(title, changes.key, changes.metre, clefs=instrument.clefs, sounds=instrument.sounds)
    return abc_text(page, notes(changes))
