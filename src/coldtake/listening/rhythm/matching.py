"""Strokes laid along a written rhythm, without any pitch to go by.

A path of least cost through pairs of stroke and written onset, in order: each step is judged by how
well the time that passed agrees with the time that is written, at a tempo that follows the player;
leaving out a written onset or a stroke has its price (edit distance with tempo, after C. Raphael,
"Automatic segmentation of acoustic musical signals using hidden Markov models", IEEE Trans. PAMI
21, 1999, reduced to time; the costs are our own). At every stroke the best few states are kept.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coldtake.listening.rhythm.strokes import SURE

MISSED, EXTRA, EXTRA_UNSURE = 3.6, 3.2, 0.7
UNSURE = 3.0  # for one that is not sure at all to be the written one
SWINGS = (1.0, 1.5, 2.0, 2.7)  # long eighth against short
SWUNG = 2.0  # what it costs to take the eighths as swung
FARTHEST = 4  # written onsets, or strokes, left out at a time
KEPT = 16
FOLLOW = 0.35  # of each step's tempo taken over
TEMPO_SPREAD = 0.25  # of the first step around the usual tempo, as a logarithm
LATE_S, LATE_SHARE = 0.018, 0.06  # spread of a step's time
STEEP = 2.5
LONGEST_LEAD = 8  # strokes before the first written one


@dataclass(frozen=True, slots=True)
class _State:
    """Written onset `event` is stroke `stroke`; cost so far; seconds a beat; where from."""

    event: int
    stroke: int
    cost: float
    beat_s: float
    before: "_State | None"


def match(
    beats: Sequence[float], times_s: Sequence[float], sure: Sequence[float], usual_bpm: float
) -> dict[int, int]:
    """Index of each written onset that was played to the index of its stroke.

    beats : written onsets, ascending, no two alike; times_s : strokes, ascending; sure : of each, 0
    to 1. Eighths may be swung, if that explains them better.
    """
    if not beats or not times_s:
        return {}
    ways = [(swing, _swung(beats, swing)) for swing in SWINGS]
    found = [
        (best.total + (0.0 if swing == 1.0 else SWUNG), best)
        for swing, places in ways
        if swing == 1.0 or places != list(beats)
        if (best := _Path(places, times_s, sure, 60.0 / usual_bpm).best()) is not None
    ]
    return min(found, key=lambda f: f[0])[1].pairs if found else {}


def _swung(beats: Sequence[float], swing: float) -> list[float]:
    late = swing / (1.0 + swing)
    return [float(np.floor(b)) + late if abs(b % 1.0 - 0.5) < 0.01 else b for b in beats]


@dataclass(frozen=True, slots=True)
class _Best:
    """An explanation of all strokes: its cost, and which onset is which stroke."""

    total: float
    pairs: dict[int, int]


class _Path:
    """The search for one way to place the written onsets."""

    def __init__(
        self, beats: Sequence[float], times: Sequence[float], sure: Sequence[float], usual: float
    ) -> None:
        self._beats, self._times, self._usual = beats, times, usual
        extras = [EXTRA if s >= SURE else EXTRA_UNSURE for s in sure]
        self._unsure = [UNSURE * max(SURE - s, 0.0) for s in sure]
        self._left_out = np.concatenate([[0.0], np.cumsum(extras)])

    def best(self) -> _Best | None:
        """The explanation of least cost."""
        rows: list[list[_State]] = []
        found: tuple[float, _State] | None = None
        for j in range(len(self._times)):
            rows.append(_fewest([*self._starts(j), *self._steps(rows, j)]))
            for state in rows[j]:
                total = state.cost + (len(self._beats) - 1 - state.event) * MISSED
                total += float(self._left_out[-1] - self._left_out[j + 1])
                if found is None or total < found[0]:
                    found = (total, state)
        return None if found is None else _Best(found[0], _along(found[1]))

    def _starts(self, j: int) -> list[_State]:
        if j > LONGEST_LEAD:
            return []
        before = float(self._left_out[j])
        return [
            _State(i, j, i * MISSED + before + self._unsure[j], self._usual, None)
            for i in range(min(FARTHEST, len(self._beats)))
        ]

    def _steps(self, rows: Sequence[Sequence[_State]], j: int) -> list[_State]:
        found = []
        beats = self._beats
        for back in range(max(j - FARTHEST, 0), j):
            passed = self._times[j] - self._times[back]
            between = float(self._left_out[j] - self._left_out[back + 1])
            for state in rows[back]:
                for i in range(state.event + 1, min(state.event + 1 + FARTHEST, len(beats))):
                    written = beats[i] - beats[state.event]
                    cost = _late(state, passed, written, self._usual) + between + self._unsure[j]
                    cost += state.cost + (i - state.event - 1) * MISSED
                    found.append(_State(i, j, cost, _followed(state, passed / written), state))
        return found


def _late(state: _State, passed: float, written: float, usual: float) -> float:
    """Cost of a step that takes `passed` seconds for `written` beats."""
    if state.before is None:
        return float(0.5 * (np.log(passed / (written * usual)) / TEMPO_SPREAD) ** 2)
    expected = written * state.beat_s
    away = (passed - expected) / (LATE_S + LATE_SHARE * expected)
    return float(STEEP * np.log1p(0.2 * away * away))


def _followed(state: _State, heard: float) -> float:
    if state.before is None:
        return heard
    near = min(max(heard, 0.8 * state.beat_s), 1.25 * state.beat_s)  # one slip is no new tempo
    return (1.0 - FOLLOW) * state.beat_s + FOLLOW * near


def _fewest(states: Sequence[_State]) -> list[_State]:
    """The best state for each written onset, and of these the best few."""
    best: dict[int, _State] = {}
    for state in states:
        if state.event not in best or state.cost < best[state.event].cost:
            best[state.event] = state
    return sorted(best.values(), key=lambda s: s.cost)[:KEPT]


def _along(state: _State | None) -> dict[int, int]:
    found = {}
    while state is not None:
        found[state.event] = state.stroke
        state = state.before
    return found
