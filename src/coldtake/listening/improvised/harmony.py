"""Where which chord is in force, chorus after chorus, and what belongs to it.

Which scales go with a chord, and which of its tones are guide tones, is said by `music`; strong
beats are the first of a bar and the one in its middle where the metre has one (common practice, no
source). A scale must hold every tone of the chord; of several the player may have meant any one, so
a stretch of one harmony is judged by the scale that fits best, unless only the simplest is asked.
"""

from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from coldtake.music.notation.changes import Changes, guide_pair
from coldtake.music.theory.chord_scales import scale_choices
from coldtake.music.theory.chords import Chord
from coldtake.music.theory.tones import usual_interval

# Quarters from the start of a bar, by metre; others only have their first beat.
_STRONG = {(4, 4): (0.0, 2.0), (2, 2): (0.0, 2.0), (6, 8): (0.0, 1.5), (12, 8): (0.0, 3.0),
           (5, 4): (0.0, 3.0), (6, 4): (0.0, 3.0)}  # fmt: skip

PASSING = ("bebop dominant",)  # its eighth tone is one of passage, not one to rest on


@dataclass(frozen=True, slots=True)
class NamedScale:
    """name : as the player reads it; classes : sounding pitch classes."""

    name: str
    classes: frozenset[int]


@dataclass(frozen=True, slots=True)
class ChordSpan:
    """One chord within one bar of one chorus.

    onset_beats : from the start of the first chorus, quarters; in_form_beats : of its chorus
    harmony : number of the stretch of equal chords that it belongs to
    symbol : as the player reads it; root, tones, guides : sounding pitch classes, root None and the
    others empty for no chord
    changes : a chord that differs from the one before begins here
    """

    chorus: int
    bar_index: int
    onset_beats: float
    in_form_beats: float
    beats: float
    harmony: int
    symbol: str
    root: int | None
    tones: frozenset[int]
    guides: frozenset[int]
    scales: tuple[NamedScale, ...]
    changes: bool

    @property
    def end_beats(self) -> float:
        """End, quarters."""
        return self.onset_beats + self.beats


@dataclass(frozen=True, slots=True)
class ChordTimeline:
    """The changes as they are to be played over. length, bar in quarters; strong : all of them."""

    places: tuple[ChordSpan, ...]
    length_beats: float
    form_beats: float
    bar_beats: float
    strong: tuple[float, ...]


def ground_of(
    changes: Changes, choruses: int, transposition: int, *, simplest: bool
) -> ChordTimeline:
    """Lay changes out as the player reads them; transposition : sounding minus written."""
    form = float(changes.bar) * changes.bars
    once = _places(changes, transposition, simplest=simplest)
    per_chorus = once[-1].harmony + 1
    places = tuple(
        replace(p, chorus=c, onset_beats=p.onset_beats + c * form,
                harmony=p.harmony + c * per_chorus)
        for c in range(choruses) for p in once
    )  # fmt: skip
    bars = changes.bars * choruses
    within = _STRONG.get(changes.metre, (0.0,))
    strong = tuple(float(changes.bar) * k + at for k in range(bars) for at in within)
    return ChordTimeline(places, form * choruses, form, float(changes.bar), strong)


def _places(changes: Changes, transposition: int, *, simplest: bool) -> list[ChordSpan]:
    found: list[ChordSpan] = []
    harmony, before = -1, None
    for span in changes.spans:
        new = before is None or not _same(before, span.chord)
        harmony += new
        cut = _cut_at_bars(span.onset, span.beats, changes.bar)
        for k, (onset, beats) in enumerate(cut):
            own = _of_chord(span.chord, transposition, simplest=simplest)
            found.append(replace(
                own, bar_index=int(onset // changes.bar), onset_beats=float(onset),
                in_form_beats=float(onset), beats=float(beats), harmony=harmony,
                changes=bool(new and k == 0 and before is not None and before.root is not None),
            ))  # fmt: skip
        before = span.chord
    return found


def _same(one: Chord, other: Chord) -> bool:
    return (one.root, one.ways, one.bass) == (other.root, other.ways, other.bass)


def _cut_at_bars(
    onset: Fraction, beats: Fraction, bar: Fraction
) -> list[tuple[Fraction, Fraction]]:
    cuts = [onset]
    while cuts[-1] < onset + beats:
        cuts.append(min((cuts[-1] // bar + 1) * bar, onset + beats))
    return [(a, b - a) for a, b in pairwise(cuts)]


def _of_chord(chord: Chord, transposition: int, *, simplest: bool) -> ChordSpan:
    sounding = chord.moved(usual_interval(transposition)) if transposition else chord
    shift = transposition % 12
    pair = guide_pair(sounding)
    choices = [c for c in scale_choices(chord) if c.name not in PASSING][: 1 if simplest else None]
    scales = tuple(
        NamedScale(str(c), frozenset((t.pitch_class + shift) % 12 for t in c.tones))
        for c in choices
    )
    tones = sounding.pitch_classes
    if chord.root is not None and not scales:  # an unusual chord: at least its own tones belong
        scales = (NamedScale(f"the tones of {chord.symbol}", tones),)
    return ChordSpan(
        chorus=0, bar_index=0, onset_beats=0.0, in_form_beats=0.0, beats=0.0, harmony=0,
        symbol=chord.symbol, root=None if sounding.root is None else sounding.root.pitch_class,
        tones=tones, scales=scales, changes=False,
        guides=frozenset() if pair is None else frozenset(t.pitch_class for t in pair),
    )  # fmt: skip
