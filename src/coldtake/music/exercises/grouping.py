"""A piece into groups of bars small enough to be worked on: phrases, without playing repeats twice.

Where a phrase ends is guessed from the page: a rest or a long note at the end of a bar, the same
rhythm beginning again, a repeat or a jump. The cuts are those with the least cost in all (dynamic
programming over bar lines); the costs are guesses, no source, and the player moves the cuts.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from coldtake.music.exercises.hardness import BarHardness
from coldtake.music.passage import Passage, PassageNote

USUAL_BARS = 4
MOST_GROUPS = 12
MOST_SPOTS = 4
_SPOT_BARS = 2  # a hard spot is at most so long
_HARD = 0.15  # below, nothing is a hard spot
_REST, _LONG_NOTE, _SAME_RHYTHM = 1.0, 0.7, 0.6  # what a bar line gains as a place to cut


@dataclass(frozen=True, slots=True)
class Group:
    """Bars first to last, 1-based as played, both included."""

    first: int
    last: int

    @property
    def bars(self) -> int:
        """How many bars."""
        return self.last - self.first + 1


def runs(passage: Passage) -> tuple[Group, ...]:
    """Stretches of bars that have not been played before; a written-out repeat is left out."""
    seen: set[str] = set()
    found: list[Group] = []
    for bar, name in enumerate(_names(passage), start=1):
        if name in seen:
            continue
        seen.add(name)
        if found and found[-1].last == bar - 1:
            found[-1] = Group(found[-1].first, bar)
        else:
            found.append(Group(bar, bar))
    return tuple(found)


def phrases(passage: Passage) -> tuple[Group, ...]:
    """The piece as at most about MOST_GROUPS groups of about USUAL_BARS bars or more."""
    stretches = runs(passage)
    bars = sum(run.bars for run in stretches)
    usual = max(USUAL_BARS, -(-bars // MOST_GROUPS))
    gains = cut_gains(passage)
    return tuple(g for run in stretches for g in _cut(run, gains, usual))


def hard_spots(rated: Sequence[BarHardness], stretches: Sequence[Group]) -> tuple[Group, ...]:
    """The hardest bars, clearly harder than the rest, hardest first; neighbours join."""
    own = [rated[i] for run in stretches for i in range(run.first - 1, run.last)]
    if len(own) < 3:
        return ()
    mean = sum(bar.value for bar in own) / len(own)
    spread = (sum((bar.value - mean) ** 2 for bar in own) / len(own)) ** 0.5
    least = max(_HARD, mean + spread)
    hard = sorted((b for b in own if b.value >= least), key=lambda b: (-b.value, b.index))
    spots: list[Group] = []
    for bar in hard:
        _join(spots, bar.index + 1, stretches)
    return tuple(spots[:MOST_SPOTS])


def _join(spots: list[Group], bar: int, stretches: Sequence[Group]) -> None:
    """Add a bar to a spot beside it, or begin a new one."""
    run = next(r for r in stretches if r.first <= bar <= r.last)
    for place, spot in enumerate(spots):
        together = Group(min(spot.first, bar), max(spot.last, bar))
        inside = run.first <= together.first and together.last <= run.last
        if inside and together.bars <= _SPOT_BARS:
            spots[place] = together
            return
    spots.append(Group(bar, bar))


def cut_gains(passage: Passage) -> tuple[float, ...]:
    """What each bar line gains as the end of a phrase; entry i stands after bar i + 1."""
    by_bar = _notes_of(passage)
    shapes = [
        tuple(
            (round(n.onset_beats - bar.onset_beats, 3), round(n.duration_beats, 3)) for n in notes
        )
        for bar, notes in zip(passage.bars, by_bar, strict=True)
    ]
    gains = []
    for i, bar in enumerate(passage.bars):
        end = bar.onset_beats + bar.length_beats
        last = max((n.end_beats for n in by_bar[i]), default=bar.onset_beats)
        longest = max((n.duration_beats for n in by_bar[i] if n.end_beats >= end - 0.01), default=0)
        gain = _REST if end - last > 0.2 else 0.0
        gain += _LONG_NOTE if longest >= bar.length_beats / 2 else 0.0
        after = shapes[i + 1] if i + 1 < len(shapes) else ()
        earlier = after and any(after == shapes[j] for j in range(max(0, i - 7), i))
        gains.append(gain + (_SAME_RHYTHM if earlier else 0.0))
    return tuple(gains)


def _cut(run: Group, gains: Sequence[float], usual: int) -> list[Group]:
    """Cut one stretch at the least cost: unusual lengths cost, good places to cut gain."""
    best: list[tuple[float, int]] = [(0.0, 0)]
    for end in range(1, run.bars + 1):
        options = []
        for start in range(max(0, end - 2 * usual), end):
            last = end == run.bars
            gain = 0.0 if last else gains[run.first + end - 2]
            cost = best[start][0] + ((end - start - usual) / (usual / 2)) ** 2 - gain
            options.append((cost, start))
        best.append(min(options))
    ends = [run.bars]
    while ends[-1] > 0:
        ends.append(best[ends[-1]][1])
    edges = ends[::-1]
    return [Group(run.first + a, run.first + b - 1) for a, b in pairwise(edges)]


def _notes_of(passage: Passage) -> list[list[PassageNote]]:
    by_bar: list[list[PassageNote]] = [[] for _ in passage.bars]
    for note in passage.notes:
        by_bar[note.bar_index].append(note)
    return by_bar


def _names(passage: Passage) -> list[str]:
    """One name per bar as played: the same bar of the page has the same name."""
    by_bar = _notes_of(passage)
    return [
        (notes[0].notation_ids[0] if notes else f"{bar.label}~{bar.index}")
        for bar, notes in zip(passage.bars, by_bar, strict=True)
    ]
