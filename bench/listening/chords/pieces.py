"""Passages with several notes at once: invented textures, and music21's corpus.

The corpus' chorales (J. S. Bach), a mazurka (F. Chopin) and other keyboard pieces are in the public
domain; each file's own licence stands in it.
"""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from passages import MAJOR, MINOR, NAMES

from coldtake.music.passage import Bar, Passage, PassageNote, TempoMark

Row = tuple[float, float, int]  # onset, length [quarter beats], MIDI number
CHORALES = (
    "66.6", "269", "7.7", "26.6", "244.3", "10.7", "20.7", "40.3", "101.7", "104.6", "108.6",
    "111.6", "113.8", "116.6", "119.9", "121.6", "122.6", "124.6", "126.6", "133.6",
)  # fmt: skip
KEYBOARD = ("chopin/mazurka06-2", "joplin/maple_leaf_rag", "schumann_robert/opus48no2")


def chords_passage(rows: Sequence[Row], *, bpm: float, title: str, metre: int = 4) -> Passage:
    """A passage from rows; the same key twice at one time is written once."""
    rows = sorted({(round(b, 4), p): (b, d, p) for b, d, p in rows}.values())
    first = rows[0][0] // metre * metre
    notes = [
        PassageNote(
            f"n{k}", (f"n{k}",), b - first, d, p, p, f"{NAMES[p % 12]}{p // 12 - 1}",
            str(int((b - first) // metre) + 1), int((b - first) // metre),
        )
        for k, (b, d, p) in enumerate(rows)
    ]  # fmt: skip
    end = max(n.end_beats for n in notes)
    bars = tuple(
        Bar(k, str(k + 1), float(k * metre), float(metre), (metre, 4))
        for k in range(int(np.ceil(end / metre)))
    )
    return Passage(title, tuple(notes), bars, (TempoMark(0.0, bpm),), "")


def piece_of(seed: int, kind: str, low: int, high: int) -> Passage:
    """One passage of the kind that an instrument plays: two hands, strings plucked, a choir."""
    rng = np.random.default_rng([seed, 17])
    draw = rng.random()
    bpm = float(rng.choice([56, 66, 76, 88, 100, 116]))
    if kind == "choir" or draw < 0.3:
        return from_chorale(seed, low, high, bpm)
    if kind == "hands" and draw < 0.42:
        found = from_keyboard(seed, low, high)
        if found is not None:
            return found
    makers = {
        "hands": (alberti, oom_pah, octaves, blocks, two_voices),
        "strings": (picked, strummed, melody_and_bass, blocks),
    }[kind]
    maker = makers[int(rng.integers(len(makers)))]
    scale = _scale(rng, low, high)
    rows = maker(rng, scale)
    return chords_passage(rows, bpm=bpm, title=f"{maker.__name__} {seed}")


@lru_cache(maxsize=64)
def _parsed(name: str) -> tuple[Row, ...]:
    from music21 import corpus

    score = corpus.parse(name).stripTies()
    rows = []
    for part in score.parts:
        for item in part.flatten().notes:
            if item.duration.isGrace:
                continue
            at, length = float(item.offset), float(item.duration.quarterLength)
            rows += [(at, length, int(pitch.midi)) for pitch in item.pitches]
    return tuple(rows)


def _moved(rows: list[Row], low: int, high: int) -> list[Row]:
    pitches = [p for _, _, p in rows]
    if max(pitches) - min(pitches) > high - low:
        return [(b, d, _folded(p, low, high)) for b, d, p in rows]
    move = int(np.clip(0, low - min(pitches), high - max(pitches)))
    return [(b, d, p + move) for b, d, p in rows]


def _folded(pitch: int, low: int, high: int) -> int:
    while pitch < low:
        pitch += 12
    while pitch > high:
        pitch -= 12
    return pitch


def from_chorale(seed: int, low: int, high: int, bpm: float) -> Passage:
    """Sixteen beats of a chorale's four voices."""
    rng = np.random.default_rng([seed, 5])
    name = CHORALES[int(rng.integers(len(CHORALES)))]
    rows = _parsed(f"bach/bwv{name}")
    start = 4.0 * int(rng.integers(0, 3))
    cut = [r for r in rows if start <= r[0] < start + 16] or [r for r in rows if r[0] < 16]
    return chords_passage(_moved(cut, low, high), bpm=bpm, title=f"chorale {name}")


def from_keyboard(seed: int, low: int, high: int) -> Passage | None:
    """Some bars of a keyboard piece."""
    rng = np.random.default_rng([seed, 6])
    name = KEYBOARD[int(rng.integers(len(KEYBOARD)))]
    rows = _parsed(name)
    start = float(rng.integers(0, 12)) * 3.0
    cut = sorted(r for r in rows if start <= r[0] < start + 12)[:90]
    if len(cut) < 12:
        return None
    return chords_passage(_moved(cut, low, high), bpm=76.0, title=f"{name} {start:g}")


def _scale(rng: np.random.Generator, low: int, high: int) -> list[int]:
    key = int(rng.integers(12))
    steps = MAJOR if rng.random() < 0.6 else MINOR
    return [p for p in range(low, high + 1) if (p - key) % 12 in steps]


def _walk(rng: np.random.Generator, scale: list[int], a: int, b: int, count: int) -> list[int]:
    at, out = int(rng.integers(a, b)), []
    for _ in range(count):
        out.append(scale[int(np.clip(at, a, b - 1))])
        at = int(np.clip(at + rng.choice([-2, -1, -1, 0, 1, 1, 2, 3]), a, b - 1))
    return out


def _tune_rows(rng: np.random.Generator, scale: list[int], beats: float) -> list[Row]:
    middle = len(scale) // 2
    b, rows, lengths = 0.0, [], (1.0, 0.5, 0.5, 1.0, 1.5, 0.5, 2.0)
    line = _walk(rng, scale, middle, min(middle + 11, len(scale)), 64)
    k = 0
    while b < beats:
        d = float(rng.choice(lengths))
        rows.append((b, min(d, beats - b), line[k]))
        b, k = b + d, k + 1
    return rows


def _degree(scale: list[int], at: int, steps: Sequence[int]) -> list[int]:
    return [scale[min(at + s, len(scale) - 1)] for s in steps]


def alberti(rng: np.random.Generator, scale: list[int]) -> list[Row]:
    """A tune over a broken chord in eighths."""
    rows = _tune_rows(rng, scale, 12)
    for bar in range(6):
        at = int(rng.integers(2, max(len(scale) // 2 - 5, 3)))
        root, third, fifth = _degree(scale, at, (0, 2, 4))
        rows += [(2 * bar + 0.5 * k, 0.5, p) for k, p in enumerate((root, fifth, third, fifth))]
    return rows


def oom_pah(rng: np.random.Generator, scale: list[int]) -> list[Row]:
    """A tune over bass and chord."""
    rows = _tune_rows(rng, scale, 12)
    for bar in range(6):
        at = int(rng.integers(0, max(len(scale) // 2 - 8, 1)))
        rows.append((2.0 * bar, 1.0, scale[at]))
        rows += [(2.0 * bar + 1, 0.8, p) for p in _degree(scale, at + 4, (0, 2, 4))]
    return rows


def octaves(rng: np.random.Generator, scale: list[int]) -> list[Row]:
    """Two hands in octaves, tenths or sixths."""
    apart = int(rng.choice([7, 9, 5]))
    line = _walk(rng, scale, 2, max(len(scale) - apart - 1, 6), 20)
    index = [scale.index(p) for p in line]
    rows = [(0.5 * k, 0.5, p) for k, p in enumerate(line)]
    return rows + [
        (0.5 * k, 0.5, scale[min(i + apart, len(scale) - 1)]) for k, i in enumerate(index)
    ]


def blocks(rng: np.random.Generator, scale: list[int]) -> list[Row]:
    """Block chords, three to five notes, the bass doubled at the octave now and then."""
    rows: list[Row] = []
    b = 0.0
    while b < 14:
        d = float(rng.choice([1.0, 1.0, 2.0]))
        at = int(rng.integers(1, max(len(scale) - 10, 2)))
        steps = [(0, 2, 4), (0, 4, 9), (0, 2, 4, 7), (0, 7, 9, 11), (0, 4, 7, 9)][
            int(rng.integers(5))
        ]
        chord = set(_degree(scale, at, steps))
        if rng.random() < 0.3 and min(chord) - 12 >= scale[0]:
            chord.add(min(chord) - 12)
        rows += [(b, d, p) for p in sorted(chord)]
        b += d
    return rows


def two_voices(rng: np.random.Generator, scale: list[int]) -> list[Row]:
    """A tune above a slower one."""
    middle = len(scale) // 2
    low = _walk(rng, scale, 0, middle - 2, 10)
    return _tune_rows(rng, scale, 12) + [(1.2 * k // 0.5 * 0.5, 1.0, p) for k, p in enumerate(low)]


def picked(rng: np.random.Generator, scale: list[int]) -> list[Row]:
    """Broken chords whose notes ring on to the end of the bar."""
    rows: list[Row] = []
    for bar in range(6):
        at = int(rng.integers(0, max(len(scale) - 11, 1)))
        tones = _degree(scale, at, (0, 4, 7, 9, 7, 4))
        ends = 2.0 * bar + 2.0
        for k, p in enumerate(tones[:4]):
            rows.append((2.0 * bar + 0.5 * k, ends - 2.0 * bar - 0.5 * k, p))
    return rows


def strummed(rng: np.random.Generator, scale: list[int]) -> list[Row]:
    """Full chords of four to six notes."""
    rows: list[Row] = []
    for k in range(10):
        at = int(rng.integers(0, max(len(scale) - 13, 1)))
        size = int(rng.integers(4, 7))
        rows += [(float(k), 1.0, p) for p in _degree(scale, at, (0, 4, 7, 9, 11, 14)[:size])]
    return rows


def melody_and_bass(rng: np.random.Generator, scale: list[int]) -> list[Row]:
    """A tune and held bass notes."""
    rows = _tune_rows(rng, scale, 12)
    bass = _walk(rng, scale, 0, 6, 6)
    return rows + [(2.0 * k, 2.0, p) for k, p in enumerate(bass)]
