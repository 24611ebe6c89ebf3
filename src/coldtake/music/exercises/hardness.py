"""How hard each bar looks on the page: an estimate, before anybody has played it.

Six things that are counted, each against what is hard for most players, weighed and added. The
limits and weights are guesses (no source); what the player's own tries say always comes first.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import pairwise

from coldtake.music.passage import Passage, PassageNote
from coldtake.music.theory.spelling import key_alter

_TOGETHER_BEATS = 1e-6
# What counts as fully hard, and the weight of it.
_LIMITS: dict[str, tuple[float, float]] = {
    "fast notes": (10.0, 0.45),  # notes a second
    "leaps": (12.0, 0.2),  # semitones
    "accidentals": (0.5, 0.13),  # share of the notes
    "a wide range": (24.0, 0.08),  # semitones
    "changing rhythm": (5.0, 0.08),  # different lengths
    "wide chords": (14.0, 0.06),  # semitones on one staff
}
_TELLING = 0.5  # a count at half its limit is worth a word


@dataclass(frozen=True, slots=True)
class BarHardness:
    """index : 0-based, as played; value : 0 easy to 1 hard; because : what makes it so."""

    index: int
    value: float
    because: tuple[str, ...]


def hardness(passage: Passage, bpm: float) -> tuple[BarHardness, ...]:
    """Estimate every bar at a tempo > 0 in quarters a minute."""
    by_bar: dict[int, list[PassageNote]] = {bar.index: [] for bar in passage.bars}
    for note in passage.notes:
        by_bar.setdefault(note.bar_index, []).append(note)
    return tuple(_of_bar(passage, bar.index, by_bar[bar.index], bpm) for bar in passage.bars)


def _of_bar(passage: Passage, index: int, notes: Sequence[PassageNote], bpm: float) -> BarHardness:
    bar = passage.bars[index]
    counts = {
        "fast notes": _fastest(notes) * bpm / 60.0,
        "leaps": float(_leap(notes)),
        "accidentals": _accidentals(notes, bar.key_fifths),
        "a wide range": max((_range(hand) for hand in _by_staff(notes)), default=0.0),
        "changing rhythm": max((_lengths(hand) for hand in _by_staff(notes)), default=0.0),
        "wide chords": _widest_chord(notes),
    }
    shares = {name: min(counts[name] / limit, 1.0) for name, (limit, _) in _LIMITS.items()}
    value = sum(weight * shares[name] for name, (_, weight) in _LIMITS.items())
    telling = sorted(
        (name for name in shares if shares[name] >= _TELLING),
        key=lambda name: -shares[name] * _LIMITS[name][1],
    )
    return BarHardness(index, value, tuple(telling[:2]))


def _fastest(notes: Sequence[PassageNote]) -> float:
    """Attacks per quarter in the busiest single beat, so that one run is not averaged away."""
    onsets = sorted({round(n.onset_beats, 4) for n in notes if not n.grace})
    return float(max((sum(a <= b < a + 1 for b in onsets) for a in onsets), default=0))


def _leap(notes: Sequence[PassageNote]) -> int:
    lines: dict[tuple[int, int], list[PassageNote]] = {}
    for note in notes:
        lines.setdefault((note.staff, note.voice), []).append(note)
    leaps = [
        abs(b.pitch - a.pitch)
        for line in lines.values()
        for a, b in pairwise(line)
        if b.onset_beats - a.onset_beats > _TOGETHER_BEATS
    ]
    return max(leaps, default=0)


def _accidentals(notes: Sequence[PassageNote], fifths: int) -> float:
    """Share of the notes that the signature does not hold."""
    outside = sum(_sign(n.name) != key_alter(n.name[:1].lower(), fifths) for n in notes)
    return outside / len(notes) if notes else 0.0


def _sign(name: str) -> int:
    """Alteration in a spelling such as "B♭4"."""
    return name.count("♯") - name.count("♭")


def _by_staff(notes: Sequence[PassageNote]) -> Collection[list[PassageNote]]:
    """Each hand's notes: two that share the width of a keyboard are not hard for it."""
    staves: dict[int, list[PassageNote]] = {}
    for note in notes:
        staves.setdefault(note.staff, []).append(note)
    return staves.values()


def _lengths(notes: Sequence[PassageNote]) -> float:
    """Count the different lengths."""
    return float(len({round(n.duration_beats, 3) for n in notes if not n.grace}))


def _range(notes: Sequence[PassageNote]) -> float:
    pitches = [n.pitch for n in notes]
    return float(max(pitches) - min(pitches)) if pitches else 0.0


def _widest_chord(notes: Sequence[PassageNote]) -> float:
    spans: dict[tuple[int, float], list[int]] = {}
    for note in notes:
        spans.setdefault((note.staff, round(note.onset_beats, 4)), []).append(note.pitch)
    return float(max((max(p) - min(p) for p in spans.values()), default=0))
