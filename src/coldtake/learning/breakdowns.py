"""Where a passage breaks: the evidence of its takes, bar by bar, and what of it is a habit.

The chance that a bar breaks is estimated for all bars at once: each is drawn from one beta
distribution whose mean and spread the bars themselves tell (the hierarchical binomial model of
Gelman, Carlin, Stern, Dunson, Vehtari and Rubin, "Bayesian Data Analysis", 3rd edition, section
5.3, 2013, Boca Raton; mean and spread on a grid). So a few slips in a passage that slips anywhere
are not called a habit of one bar.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from coldtake.domain.take import NoteEvidence, NoteStatus, Restart, StumbleKind, Verdict

if TYPE_CHECKING:
    import numpy as np

    from coldtake.music.passage import Passage

SURE = 0.5  # below this confidence a note accuses nobody
OFTEN = 0.2  # a bar that breaks more often than this is worth a step of its own
CERTAIN = 0.7  # so sure that it does
LEAST = 3  # breaks; two slips in three takes are no habit
_MEANS = (0.01, 0.7, 24)  # of the beta distribution: from, to, how many
_SIZES = (1.0, 2.0, 4.0, 8.0, 16.0, 32.0)  # of it, in takes


class Fault(StrEnum):
    """What went wrong in a bar."""

    WRONG = "wrong"
    MISSED = "missed"
    EXTRA = "extra"
    EARLY = "early"
    LATE = "late"
    STOP = "stop"
    RESTART = "restart"


# Going back by more than a beat is in a verdict's own list of restarts, in older ones too.
_OF_STUMBLE = {StumbleKind.HESITATION: Fault.STOP, StumbleKind.REPEATED: Fault.RESTART}


@dataclass(frozen=True, slots=True)
class BarOfTake:
    """What became of one bar in one take."""

    faults: Counter[Fault]
    cold: bool

    @property
    def broke(self) -> bool:
        """Whether anything went wrong in it."""
        return bool(self.faults)


@dataclass(frozen=True, slots=True)
class WeakBar:
    """A bar that breaks by habit. broke, of : takes; cold_broke, cold_of : the cold ones of them.

    halves : of the older and of the newer half of its takes: in how many it broke, and of how many
    chance : that it breaks in a take, mean of the posterior
    """

    index: int
    broke: int
    of: int
    cold_broke: int
    cold_of: int
    faults: Counter[Fault]
    halves: tuple[tuple[int, int], tuple[int, int]]
    chance: float

    @property
    def timing_only(self) -> bool:
        """Whether its notes were right and only their time was not."""
        return set(self.faults) <= {Fault.EARLY, Fault.LATE}


def bars_of_take(verdict: Verdict, passage: Passage, *, cold: bool) -> dict[int, BarOfTake]:
    """Say of each bar that was played what went wrong in it, by its index in the passage.

    Bars before the first note heard and after the last one were not played; the bar in which a take
    stopped broke. Bars of which nothing can be told are left out.
    """
    bar_of = {note.id: note.bar_index for note in passage.notes}
    told = [n for n in verdict.notes if n.id in bar_of and n.confidence >= SURE]
    heard = [bar_of[n.id] for n in told if n.onset_s is not None]
    if not heard:
        return {}
    first, last = min(heard), max(heard)
    bars: dict[int, BarOfTake] = {
        index: BarOfTake(Counter(), cold)
        for index in {bar_of[n.id] for n in told}
        if first <= index <= last
    }
    for index, fault in _faults(verdict, told, bar_of):
        if index in bars:
            bars[index].faults[fault] += 1
    return bars


def _faults(
    verdict: Verdict, told: Sequence[NoteEvidence], bar_of: Mapping[str, int]
) -> Iterable[tuple[int, Fault]]:
    for note in told:
        fault = _fault_of(note)
        if fault is not None:
            yield bar_of[note.id], fault
    last_bar = max(bar_of.values(), default=0)
    for note in verdict.notes:
        if note.status is NoteStatus.EXTRA and note.confidence >= SURE and note.onset_s is not None:
            yield _bar_at(note.onset_s, told, bar_of), Fault.EXTRA
    for restart in verdict.restarts:
        yield _bar_of_restart(restart, told, bar_of), Fault.RESTART
    for stumble in verdict.stumbles:
        fault = _OF_STUMBLE.get(stumble.kind)
        if fault is not None and stumble.confidence >= SURE and stumble.note_id in bar_of:
            yield bar_of[stumble.note_id], fault
    stopped = max((bar_of[n.id] for n in told if n.onset_s is not None), default=last_bar)
    if stopped < last_bar:
        yield stopped, Fault.MISSED


def _fault_of(note: NoteEvidence) -> Fault | None:
    if note.status is NoteStatus.WRONG:
        return Fault.WRONG
    if note.status is NoteStatus.MISSED:
        return Fault.MISSED
    if note.displaced:
        return Fault.LATE if (note.deviation_ms or 0.0) > 0 else Fault.EARLY
    return None


def _bar_of_restart(
    restart: Restart, told: Sequence[NoteEvidence], bar_of: Mapping[str, int]
) -> int:
    """The bar that play had come to; older verdicts only say when that was."""
    if restart.from_beat is None:
        return _bar_at(restart.at_s, told, bar_of)
    come_to = restart.from_beat
    before = [n for n in told if n.expected_beat is not None and n.expected_beat <= come_to]
    last = max(before, key=lambda n: n.expected_beat or 0.0, default=None)
    return bar_of[last.id] if last else -1


def _bar_at(at_s: float, told: Sequence[NoteEvidence], bar_of: Mapping[str, int]) -> int:
    """The bar that was being played: that of the last note heard before."""
    before = [n for n in told if n.onset_s is not None and n.onset_s <= at_s]
    nearest = max(before, key=lambda n: n.onset_s or 0.0, default=None)
    return bar_of[nearest.id] if nearest else -1


def weak_bars(takes: Sequence[Mapping[int, BarOfTake]]) -> tuple[WeakBar, ...]:
    """Return the bars that break by habit, most certain first. takes : oldest first."""
    bars = sorted({index for take in takes for index in take})
    if not bars:
        return ()
    seen = {index: [take[index] for take in takes if index in take] for index in bars}
    broke = [sum(bar.broke for bar in seen[i]) for i in bars]
    played = [len(seen[i]) for i in bars]
    chances, surely = _posterior(broke, played)
    order = sorted(range(len(bars)), key=lambda i: (-surely[i], bars[i]))
    return tuple(
        _weak(bars[i], seen[bars[i]], float(chances[i]))
        for i in order
        if broke[i] >= LEAST and surely[i] >= CERTAIN
    )


def _posterior(broken: Sequence[int], played: Sequence[int]) -> tuple[np.ndarray, np.ndarray]:
    """Mean chance of each bar to break, and how sure it is that it breaks more than `OFTEN`.

    broken, played : takes by bar; both results have shape (bars,)
    """
    import numpy as np  # a page without takes should not wait for it
    from scipy.special import betaincc, betaln

    mean, size = (grid.ravel()[:, None] for grid in np.meshgrid(np.linspace(*_MEANS), _SIZES))
    a, b = mean * size, (1 - mean) * size  # (grid, 1)
    broke = np.asarray(broken)
    clean = np.asarray(played) - broke
    marginal = (betaln(a + broke, b + clean) - betaln(a, b)).sum(axis=1)
    weight = np.exp(marginal - marginal.max())
    weight /= weight.sum()
    chance = (a + broke) / (a + b + broke + clean)
    surely = betaincc(a + broke, b + clean, OFTEN)
    return weight @ chance, weight @ surely


def _weak(index: int, seen: Sequence[BarOfTake], chance: float) -> WeakBar:
    cold = [bar for bar in seen if bar.cold]
    half = len(seen) // 2
    return WeakBar(
        index=index,
        broke=sum(bar.broke for bar in seen),
        of=len(seen),
        cold_broke=sum(bar.broke for bar in cold),
        cold_of=len(cold),
        faults=sum((bar.faults for bar in seen), Counter[Fault]()),
        halves=(_count(seen[:half]), _count(seen[half:])),
        chance=chance,
    )


def _count(bars: Sequence[BarOfTake]) -> tuple[int, int]:
    return sum(bar.broke for bar in bars), len(bars)
