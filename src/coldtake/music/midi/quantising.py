"""Played onsets to note values: the grid of each beat, and how much was moved.

Each beat gets the division that explains its onsets best: a normal error around every grid point
against a prior that prefers few divisions, after A. T. Cemgil, P. Desain and B. Kappen, "Rhythm
quantization for transcription", Computer Music Journal 24:2 (2000), pp. 60-76. The beat itself is
the file's. Notes that begin within a chord's spread (CHORD_S) and sound together are one
chord.

The size of the error and the prices of divisions are guesses, no source; what came of it is told
(`Quantised`), and the player chooses a coarser or finer grid, with or without threes.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from coldtake.errors import PassageError
from coldtake.music.midi.choice import FINEST
from coldtake.music.midi.reader import PlayedNote

CHORD_S = 0.05  # notes of one chord of professional pianists lie 24-38 ms apart (median)
ERROR_S = 0.02  # standard deviation of an onset around its place, seconds: a guess
MOVED_S = 0.001  # an onset nearer to its place counts as not moved

# Price of dividing a quarter, in the unit of half a squared error: coarse and even is cheap.
_PRICES = {1: 0.0, 2: 1.0, 3: 3.5, 4: 2.5, 6: 6.0, 8: 5.0}
_COLLISION = 40.0  # two notes on one place: something finer is meant
_FULL = 0.6  # share of the way to the next note from which a note is written as long as that
_OVERLAPS_MOST = 0.05  # share of notes that may begin while another is held on
_HELD = Fraction(1, 4)  # of the way to its own end: less is legato, not a second voice


@dataclass(frozen=True, slots=True)
class QuantisingOptions:
    """How to quantise. finest : a name of FINEST; threes : triplets may be written."""

    finest: str = "sixteenths"
    threes: bool = True

    @property
    def divisions(self) -> tuple[int, ...]:
        """Divisions of a quarter that may be used, coarsest first."""
        most = FINEST[self.finest]
        threes = {3: 2, 6: 4}
        return tuple(
            d for d in _PRICES if (self.threes and threes[d] <= most if d % 3 == 0 else d <= most)
        )


@dataclass(frozen=True, slots=True)
class QuantisedChord:
    """Pitches that begin together. onset, length : quarters, on the grid."""

    onset: Fraction
    length: Fraction
    pitches: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Quantised:
    """The notes on the grid, and what was done to them.

    divisions : of every quarter, by its number from 0, where it is not whole
    moved : share of the onsets that lay elsewhere; mean_ms, worst_ms : how far those were moved
    cut : share of the notes that were shortened because the next one began
    """

    chords: tuple[QuantisedChord, ...]
    divisions: dict[int, int]
    moved: float
    mean_ms: float
    worst_ms: float
    cut: float


def quantised(notes: Sequence[PlayedNote], bpm: float, wish: QuantisingOptions) -> Quantised:
    """Put one voice on a grid. bpm > 0: quarters a minute. Raises PassageError for two voices."""
    if wish.finest not in FINEST:
        raise PassageError(
            f"“{wish.finest}” is no grid here.", remedy=f"Use one of: {', '.join(FINEST)}."
        )
    second = Fraction(bpm / 60.0).limit_denominator(1000)  # quarters in a second
    clusters = _clusters(notes, Fraction(CHORD_S).limit_denominator(1000) * second, wish)
    _refuse_two_voices(clusters)
    places, divisions = _placed([c.onset for c in clusters], float(ERROR_S * second), wish)
    chords, cut = _lengths(clusters, places, divisions)
    shifts = [abs(float((p - c.onset) / second)) for p, c in zip(places, clusters, strict=True)]
    moved = [s for s in shifts if s > MOVED_S]
    return Quantised(
        chords,
        {beat: d for beat, d in divisions.items() if d > 1},
        len(moved) / len(shifts),
        1000 * sum(moved) / len(moved) if moved else 0.0,
        1000 * max(shifts),
        cut / len(clusters),
    )


@dataclass(frozen=True, slots=True)
class _Cluster:
    """Notes that begin together, as played."""

    onset: Fraction
    end: Fraction
    pitches: tuple[int, ...]


def _clusters(
    notes: Sequence[PlayedNote], spread: Fraction, wish: QuantisingOptions
) -> list[_Cluster]:
    """Notes to chords; never joining what the finest grid would tell apart by more than half."""
    near = min(spread, Fraction(1, 2 * FINEST[wish.finest]))
    groups: list[list[PlayedNote]] = []
    for note in sorted(notes, key=lambda n: (n.onset, n.pitch)):
        if groups and note.onset - groups[-1][0].onset <= near and _together(groups[-1][0], note):
            groups[-1].append(note)
        else:
            groups.append([note])
    return [
        _Cluster(
            sum((n.onset for n in group), Fraction(0)) / len(group),
            max(n.end for n in group),
            tuple(sorted({n.pitch for n in group})),
        )
        for group in groups
    ]


def _together(one: PlayedNote, two: PlayedNote) -> bool:
    """Notes of a chord sound together for most of their time, fast ones in a row do not."""
    shorter = min(one.end - one.onset, two.end - two.onset)
    return min(one.end, two.end) - two.onset > shorter / 2


def _refuse_two_voices(clusters: Sequence[_Cluster]) -> None:
    """One voice, or chords that move together; a note held through others is a second voice."""
    held = 0
    for one, two in pairwise(clusters):
        over = one.end - two.onset
        held += over > _HELD * (two.end - two.onset) and over > _HELD
    if held > _OVERLAPS_MOST * len(clusters):
        raise PassageError(
            f"several voices sound in this part: {held} of {len(clusters)} notes begin while "
            "another is held.",
            remedy="Choose another part, or export it as MusicXML, where the voices are written.",
        )


def _placed(
    onsets: Sequence[Fraction], error: float, wish: QuantisingOptions
) -> tuple[list[Fraction], dict[int, int]]:
    """A place for each onset and the division of each quarter; error: quarters."""
    places = list(onsets)
    divisions: dict[int, int] = {}
    by_beat: dict[int, list[int]] = {}
    edge = Fraction(1, 2 * max(wish.divisions))
    for index, onset in enumerate(onsets):
        by_beat.setdefault(int((onset + edge) // 1), []).append(index)
    for beat, inside in by_beat.items():
        own = [onsets[i] - beat for i in inside]
        best = min(wish.divisions, key=lambda d: (_cost(own, d, error), d))
        divisions[beat] = best
        for i, within in zip(inside, own, strict=True):
            places[i] = beat + _nearest(within, best)
    _separate(places, divisions, max(d for d in wish.divisions if d % 3))
    return places, divisions


def _nearest(within: Fraction, division: int) -> Fraction:
    return Fraction(round(within * division), division)


def _cost(own: Sequence[Fraction], division: int, error: float) -> float:
    places = [_nearest(x, division) for x in own]
    squares = sum(float(p - x) ** 2 for p, x in zip(places, own, strict=True))
    collisions = len(places) - len(set(places))
    past = sum(p >= 1 for p in places)  # would meet the next quarter's own first note
    return squares / (2 * error**2) + _PRICES[division] + _COLLISION * collisions + 0.5 * past


def _separate(places: list[Fraction], divisions: dict[int, int], finest: int) -> None:
    """No two on one place: the later one goes to the next of the finest grid."""
    for i in range(1, len(places)):
        if places[i] <= places[i - 1]:
            beat = int(places[i - 1] // 1)
            step = divisions.get(beat, 1)
            step = step if step >= finest or step % 3 == 0 else finest
            divisions[beat] = step
            places[i] = (places[i - 1] * step // 1 + 1) / Fraction(step)


def _lengths(
    clusters: Sequence[_Cluster], places: Sequence[Fraction], divisions: dict[int, int]
) -> tuple[tuple[QuantisedChord, ...], int]:
    """Written lengths: to the next note where nearly that long, else on the grid, then a rest."""
    found, cut = [], 0
    for i, cluster in enumerate(clusters):
        start = places[i]
        after = places[i + 1] if i + 1 < len(places) else None
        played = cluster.end - cluster.onset
        end = start + _rounded(start, played, divisions)
        if after is not None:
            room = after - start
            cut += played > room * Fraction(5, 4)
            if played >= Fraction(_FULL).limit_denominator(100) * room or end > after:
                end = after
        found.append(QuantisedChord(start, end - start, cluster.pitches))
    return tuple(found), cut


def _rounded(start: Fraction, played: Fraction, divisions: dict[int, int]) -> Fraction:
    """A length that ends on the grid of the quarter in which it ends, at least one place long."""
    end = start + played
    division = max(divisions.get(int(end // 1), 1), 2)
    own = max(divisions.get(int(start // 1), 1), 2)
    rounded = Fraction(round(end * division), division)
    return rounded - start if rounded > start else Fraction(1, own)
