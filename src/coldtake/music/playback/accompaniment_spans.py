"""Changes cut at the barlines: which chord is in force where, bar by bar."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from coldtake.music.notation.changes import Changes
from coldtake.music.theory.chords import Chord


@dataclass(frozen=True, slots=True)
class Cell:
    """A chord within one bar.

    bar : 0-based, as played; bar_onset, onset, beats : quarters; begins : the chord begins here
    (false where it is held over the barline)
    """

    chord: Chord
    bar: int
    bar_onset: Fraction
    onset: Fraction
    beats: Fraction
    begins: bool

    @property
    def sounds(self) -> bool:
        """Whether there is a chord at all ("N.C." has none)."""
        return self.chord.root is not None

    @property
    def bass_class(self) -> int:
        """Pitch class that the bass plays: what stands under the slash, else the root."""
        lowest = self.chord
        while lowest.below is not None:
            lowest = lowest.below
        tone = lowest.bass or lowest.root
        return tone.pitch_class if tone else 0

    @property
    def same_bass(self) -> tuple[int, frozenset[int]]:
        """What a bass player compares: lowest tone and tones."""
        return self.bass_class, self.chord.pitch_classes


def cells(changes: Changes, bars: Sequence[Fraction] = ()) -> tuple[Cell, ...]:
    """The chords of changes, cut at every barline.

    bars : onsets of the bars in quarters, from 0, where they are not all of one length
    """
    count = max(1, -(-_end(changes) // changes.bar))
    edges = [*(bars or (changes.bar * n for n in range(count))), _end(changes)]
    found: list[Cell] = []
    for span in changes.spans:
        begins = True
        for bar, (low, high) in enumerate(pairwise(edges)):
            at, end = max(low, span.onset), min(high, span.onset + span.beats)
            if at < end:
                found.append(Cell(span.chord, bar, low, at, end - at, begins))
                begins = False
    return tuple(found)


def _end(changes: Changes) -> Fraction:
    return max((s.onset + s.beats for s in changes.spans), default=Fraction(0))
