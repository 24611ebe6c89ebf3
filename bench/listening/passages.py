"""Passages for the bench: invented by rule from a seed, and single lines of music21's corpus."""

from collections.abc import Sequence

import numpy as np

from coldtake.music.passage import Bar, Passage, PassageNote, TempoMark

MAJOR = (0, 2, 4, 5, 7, 9, 11)
MINOR = (0, 2, 3, 5, 7, 8, 10)
NAMES = ("C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "A♭", "A", "B♭", "B")


def passage_of(
    rows: Sequence[tuple[int | None, float]], *, bpm: float = 100.0, title: str = "", metre: int = 4
) -> Passage:
    """A passage from (sounding MIDI number or None for a rest, length in beats)."""
    notes, beat = [], 0.0
    for pitch, length in rows:
        if pitch is not None:
            notes.append(_note(len(notes), pitch, beat, length, metre))
        beat += length
    bars = tuple(
        Bar(k, str(k + 1), float(k * metre), float(metre), (metre, 4))
        for k in range(int(np.ceil(beat / metre)))
    )
    return Passage(title, tuple(notes), bars, (TempoMark(0.0, bpm),), "")


def _note(index: int, pitch: int, beat: float, length: float, metre: int) -> PassageNote:
    bar = int(beat // metre)
    name = f"{NAMES[pitch % 12]}{pitch // 12 - 1}"
    return PassageNote(
        f"n{index}", (f"n{index}",), beat, length, pitch, pitch, name, str(bar + 1), bar
    )


def invented(seed: int, low: int, high: int) -> Passage:
    """Four to eight bars: a scale, a broken chord, a tune, a study in repeated notes, or a mix."""
    rng = np.random.default_rng(seed)
    kind = ("scale", "arpeggio", "tune", "repeated", "tune", "mixed")[int(rng.integers(6))]
    scale = _scale(rng, low, high)
    makers = {"scale": _scale_run, "arpeggio": _arpeggio, "tune": _tune, "repeated": _repeated}
    if kind == "mixed":
        rows: list[tuple[int | None, float]] = []
        for name in ("tune", "scale", "repeated"):
            rows += makers[name](rng, scale)
    else:
        rows = makers[kind](rng, scale)
        while sum(length for _, length in rows) < 12:
            rows += makers[kind](rng, scale)
    bpm = float(rng.choice([60, 72, 84, 96, 108, 120, 132]))
    return passage_of(_fit(rows), bpm=bpm, title=f"{kind} {seed}")


def _fit(rows: list[tuple[int | None, float]]) -> list[tuple[int | None, float]]:
    while rows and rows[-1][0] is None:
        rows.pop()
    return rows[:64]


def _scale(rng: np.random.Generator, low: int, high: int) -> list[int]:
    key = int(rng.integers(12))
    steps = MAJOR if rng.random() < 0.6 else MINOR
    notes = [p for p in range(low, high + 1) if (p - key) % 12 in steps]
    width = min(len(notes), 12)
    start = int(rng.integers(len(notes) - width + 1))
    return notes[start : start + width]


def _scale_run(rng: np.random.Generator, scale: list[int]) -> list[tuple[int | None, float]]:
    length = float(rng.choice([0.25, 0.5, 0.5]))
    up = scale[:9]
    line = up + up[-2:0:-1] if rng.random() < 0.7 else up[::-1] + up[1:]
    return [(p, length) for p in line] + [(line[0], 1.0)]


def _arpeggio(rng: np.random.Generator, scale: list[int]) -> list[tuple[int | None, float]]:
    length = float(rng.choice([0.5, 0.5, 1.0 / 3.0]))
    rows: list[tuple[int | None, float]] = []
    for root in rng.integers(0, len(scale) - 5, size=3):
        chord = [scale[root], scale[root + 2], scale[root + 4]]
        rows += [(p, length) for p in chord + chord[-2::-1]] + [(chord[0], length)]
    return rows


RHYTHMS = (
    (1.0, 1.0, 0.5, 0.5, 1.0), (0.5, 0.5, 1.0, 1.5, 0.5), (0.75, 0.25, 1.0, 2.0),
    (0.5, 0.25, 0.25, 0.5, 0.5, 1.0, 1.0), (1.5, 0.5, 1.0, 1.0), (0.25, 0.25, 0.25, 0.25, 1.0, 2.0),
)  # fmt: skip


def _tune(rng: np.random.Generator, scale: list[int]) -> list[tuple[int | None, float]]:
    rows: list[tuple[int | None, float]] = []
    at = int(rng.integers(2, len(scale) - 2))
    for _ in range(4):
        for length in RHYTHMS[int(rng.integers(len(RHYTHMS)))]:
            step = int(rng.choice([-3, -2, -1, -1, 0, 1, 1, 2, 3]))
            at = int(np.clip(at + step, 0, len(scale) - 1))
            rows.append((None if rng.random() < 0.07 and rows else scale[at], length))
    return rows


def _repeated(rng: np.random.Generator, scale: list[int]) -> list[tuple[int | None, float]]:
    rows: list[tuple[int | None, float]] = []
    for _ in range(4):
        pitch = int(rng.choice(scale))
        count, length = ((4, 0.5), (2, 1.0), (3, 1.0), (4, 0.25))[int(rng.integers(4))]
        rows += [(pitch, length)] * count
        if rng.random() < 0.3:
            rows.append((None, 0.5))
    return rows


def _corpus_files() -> tuple[str, ...]:
    return tuple(
        f"bach/bwv{n}" for n in ("66.6", "269", "7.7", "26.6", "244.3", "10.7", "20.7", "40.3")
    )


def from_corpus(index: int, low: int, high: int) -> Passage:
    """Soprano line of a chorale (music21's corpus), moved by whole tones into the range."""
    from music21 import corpus

    files = _corpus_files()
    part = corpus.parse(files[index % len(files)]).parts[0]
    rows: list[tuple[int | None, float]] = []
    for item in part.flatten().notesAndRests:
        pitch = None if item.isRest else int(item.pitch.midi)
        rows.append((pitch, float(item.duration.quarterLength)))
    pitches = [p for p, _ in rows if p is not None]
    move = round((low + high) / 2 - (min(pitches) + max(pitches)) / 2)
    moved = [(None if p is None else p + move, length) for p, length in rows[:32]]
    return passage_of(_fit(moved), bpm=72.0, title=f"chorale {files[index % len(files)]}")
