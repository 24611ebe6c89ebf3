"""A plain accompaniment to changes: a bass line and chords in several feels.

Rules of the trade (common practice, no source):
- the chords' inner tones move to the nearest ones of the next chord, in the middle register; the
  root is left to the bass where a chord has four tones or more, the fifth too where it has five;
- the bass plays the root where a chord begins; between roots it walks over chord tones and comes
  into the next root by step, or plays root and fifth;
- nothing sounds under "N.C.".

Deterministic: the same changes give the same notes. Everything is at sounding pitch, in quarters
as played, eighths written even; a swung feel says so and whoever plays it moves the off-beats.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from coldtake.music.notation.changes import Changes
from coldtake.music.playback.accompaniment_bass import (
    held,
    one_and,
    rocking,
    root_and_fifth,
    walking,
)
from coldtake.music.playback.accompaniment_chords import hits, nearest_voicings
from coldtake.music.playback.accompaniment_spans import Cell, cells

SWUNG = 2 / 3  # place of the off-beat eighth in its beat: the first two of a triplet against one
STRAIGHT = 1 / 2
_BASS_LEVEL, _CHORD_LEVEL = 0.9, 0.8
_LONGEST = Fraction(8)  # quarters that a held note lasts at most: the sound has died away


@dataclass(frozen=True, slots=True)
class BandNote:
    """One note of the accompaniment. level : 0 to 1; beats in quarters as played."""

    part: Literal["bass", "chords"]
    onset_beats: float
    beats: float
    pitch: int
    level: float


Rhythm = tuple[tuple[Fraction, Fraction], ...]  # onset in the bar and length, in quarters


def _rhythm(text: str) -> Rhythm:
    """Read "0+1.4 1.5+0.4" as onsets and lengths."""
    pairs = (word.split("+") for word in text.split())
    return tuple((Fraction(onset), Fraction(length)) for onset, length in pairs)


@dataclass(frozen=True, slots=True)
class Feel:
    """One way to accompany.

    quarters : bar lengths that it suits, () for any
    bass : cells to (onset, length, pitch); rhythms : of the chords, taken bar by bar in turn;
    () holds each chord
    """

    name: str
    words: str
    swing: float
    quarters: tuple[int, ...]
    bass: Callable[[tuple[Cell, ...]], list[tuple[Fraction, Fraction, int]]]
    rhythms: tuple[Rhythm, ...] = ()


FEELS: tuple[Feel, ...] = (
    Feel(
        "walking",
        "walking bass, swung",
        SWUNG,
        (3, 4),
        walking,
        (_rhythm("0+1.4 1.5+0.4"), _rhythm("1.5+0.4 2.5+0.4")),
    ),
    Feel(
        "two_beat",
        "two-beat, swung",
        SWUNG,
        (2, 4),
        root_and_fifth,
        (_rhythm("1+0.5 3+0.5"),),
    ),
    Feel(
        "even",
        "even eighths",
        STRAIGHT,
        (4,),
        rocking,
        (_rhythm("0+0.4 1.5+0.9 3+0.4"), _rhythm("0.5+0.4 2+0.9 3.5+0.4")),
    ),
    Feel("waltz", "waltz", STRAIGHT, (3,), one_and, (_rhythm("1+0.7 2+0.7"),)),
    Feel("held", "held chords", STRAIGHT, (), held),
)
BY_NAME = {feel.name: feel for feel in FEELS}


def feels_for(changes: Changes) -> tuple[Feel, ...]:
    """The feels that suit the metre; held chords suit every one."""
    simple = changes.metre[1] in (2, 4)  # six eighths are two beats, not three quarters
    return tuple(f for f in FEELS if not f.quarters or (simple and changes.bar in f.quarters))


def accompany(changes: Changes, feel: str, bars: Sequence[Fraction] = ()) -> tuple[BandNote, ...]:
    """Bass and chords under changes at sounding pitch, by onset.

    feel : a name of FEELS that suits the metre. Raises ValueError for another.
    bars : onsets of the bars in quarters, where they are not all of one length
    """
    chosen = BY_NAME.get(feel)
    if chosen is None or chosen not in feels_for(changes):
        names = ", ".join(f.name for f in feels_for(changes))
        raise ValueError(f"the feel {feel!r} does not suit {changes.metre}; choose of {names}")
    under = cells(changes, bars)
    bass = [
        BandNote("bass", float(onset), float(min(length, _LONGEST)), pitch, _BASS_LEVEL)
        for onset, length, pitch in chosen.bass(under)
    ]
    return tuple(sorted([*bass, *_chords(under, chosen)], key=lambda n: (n.onset_beats, n.pitch)))


def _chords(under: tuple[Cell, ...], feel: Feel) -> list[BandNote]:
    voiced = nearest_voicings(under)
    return [
        BandNote("chords", float(onset), float(min(length, _LONGEST)), pitch, _CHORD_LEVEL)
        for onset, length, index in hits(under, feel.rhythms)
        for pitch in voiced[index]
    ]
