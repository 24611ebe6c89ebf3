"""Chords in the middle register: which tones, which octave each, and when they are struck."""

from fractions import Fraction
from itertools import product

from coldtake.music.playback.accompaniment_spans import Cell

LOW, HIGH = 52, 74  # E3 to D5: above the bass, below most melodies
_MIDDLE = 62
_WIDEST = 17  # semitones from the lowest to the highest tone of a chord
_LEAST_BELOW = 3  # semitones between the two lowest: closer sounds thick
_MOST_VOICES = 4
Voicing = tuple[int, ...]


def nearest_voicings(under: tuple[Cell, ...]) -> list[Voicing]:
    """Pitches for every cell, lowest first; each as near as can be to the one before."""
    found: list[Voicing] = []
    before: Voicing = ()
    for cell in under:
        voicing = _nearest(_classes(cell), before) if cell.sounds else ()
        found.append(voicing)
        before = voicing or before
    return found


def _classes(cell: Cell) -> tuple[int, ...]:
    """Pitch classes to play: without the root from four tones on, without a plain fifth from five.

    The highest degrees come first when there are too many: they make the colour.
    """
    chord = cell.chord
    if chord.root is None:
        return ()
    root = chord.root.pitch_class
    ways = [w.semitones for w in chord.ways]
    if 4 in ways:
        ways = [w for w in ways if w != 17]  # a plain eleventh rubs against a major third
    if len(ways) >= 5:
        ways = [w for w in ways if w != 7]
    if len(ways) >= 4:
        ways = [w for w in ways if w % 12 != 0]
    while len(ways) > _MOST_VOICES:
        ways.pop(2)  # an eleventh or ninth between: third, seventh and the top stay
    return tuple(dict.fromkeys((root + w) % 12 for w in ways))


def _nearest(classes: tuple[int, ...], before: Voicing) -> Voicing:
    """Octaves for some pitch classes so that the voices move least."""
    choices = [[p for p in range(LOW, HIGH + 1) if p % 12 == c] for c in classes]
    ways = [tuple(sorted(way)) for way in product(*choices)]
    clear = [way for way in ways if _stands(way)] or ways
    return min(clear, key=lambda way: (_motion(before, way), _off(way), way))


def _stands(way: Voicing) -> bool:
    """Whether a chord is neither spread too wide nor thick at the bottom."""
    wide = way[-1] - way[0] > _WIDEST
    thick = len(way) > 2 and way[1] - way[0] < _LEAST_BELOW
    return not wide and not thick


def _off(way: Voicing) -> float:
    """Distance of a chord's middle from the middle of the register."""
    return abs(sum(way) / len(way) - _MIDDLE)


def _motion(before: Voicing, way: Voicing) -> float:
    """Semitones that the voices move in all, with a little pull back to the middle register."""
    if not before:
        return _off(way)
    if len(before) == len(way):
        moved = sum(abs(a - b) for a, b in zip(before, way, strict=True))
    else:
        moved = sum(min(abs(a - b) for b in before) for a in way)
    return moved + 0.4 * _off(way)


def hits(
    under: tuple[Cell, ...], rhythms: tuple[tuple[tuple[Fraction, Fraction], ...], ...]
) -> list[tuple[Fraction, Fraction, int]]:
    """When chords are struck: (onset, length, index of the cell).

    Where no stroke of the rhythm falls on a new chord it is struck where it begins. Without a
    rhythm each chord is held from its beginning to its end.
    """
    found: list[tuple[Fraction, Fraction, int]] = []
    for index, cell in enumerate(under):
        if not cell.sounds:
            continue
        strokes = rhythms[cell.bar % len(rhythms)] if rhythms else ()
        own = [s for s in (_within(cell, *stroke) for stroke in strokes) if s is not None]
        if not own and (cell.begins or not rhythms):
            own = [(cell.onset, cell.beats if not rhythms else min(cell.beats, Fraction(1)))]
        found += [(onset, length, index) for onset, length in own]
    return found


def _within(cell: Cell, place: Fraction, length: Fraction) -> tuple[Fraction, Fraction] | None:
    """A stroke of the bar that falls into a cell, cut at its end."""
    onset = cell.bar_onset + place
    end = cell.onset + cell.beats
    return (onset, min(length, end - onset)) if cell.onset <= onset < end else None
