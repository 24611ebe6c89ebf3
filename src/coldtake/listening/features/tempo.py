"""The player's own tempo: a smooth curve through the onsets, and what lies off it.

Onset times are a smooth function of the beats played plus independent scatter per note:

    time = start + period * beat + (slow change of tempo) + (waits) + scatter

The slow change is an integrated Wiener process, which makes the estimate a cubic smoothing spline
(G. Wahba, "Improper priors, spline smoothing and the problem of guarding against model errors in
regression", J. R. Stat. Soc. B 40, 1978). How much tempo changes is chosen by restricted maximum
likelihood, so a rubato is followed and a steady tempo is not bent. Single displaced notes are kept
from pulling the curve by weights of Student's t (4 degrees of freedom). Each deviation is taken
from the curve through all *other* notes.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from coldtake.listening.features.audio_features import Floats

RATIOS = (0.0, 0.003, 0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0)  # tempo change over scatter, squared
PRIOR_SCATTER_S, PRIOR_WEIGHT = 0.012, 3.0
FREEDOM = 4.0
LONGEST = 160  # notes fitted at once; longer takes are fitted in overlapping stretches
OVERLAP = 40
FEWEST_SWUNG = 4  # off-beats, and other notes, from which a swing can be told
MOST_SWING_BEATS = 0.25  # an off-beat comes so much late at a ratio of 3 to 1
WAIT_BEATS, WAIT_S = 0.45, 0.20  # a longer hold-up is a wait, not a late note


@dataclass(frozen=True, eq=False)
class TempoFit:
    """Fit of one take; arrays have one value per note given, in order.

    deviations_s : onset minus the curve through the other notes, late positive
    spread_s : standard deviation expected of each deviation; scatter_s : of a single onset
    swing_told : whether there are off-beats enough to tell a swing from late notes
    bpm, bpm_error : mean tempo in quarters per minute and its half width (95 %)
    curve_bpm : tempo at each note; waits : (index of the note that came late, beats waited)
    """

    deviations_s: Floats
    spread_s: Floats
    scatter_s: float
    bpm: float
    bpm_error: float
    curve_bpm: Floats
    waits: tuple[tuple[int, float], ...] = ()
    swing_beats: float = 0.0
    played_beats: Floats = field(default_factory=lambda: np.zeros(0))
    swing_told: bool = True


def fit_tempo(beats: Floats, times_s: Floats, restarts: Sequence[int] = ()) -> TempoFit | None:
    """Fit the tempo of notes in the order played; None for fewer than three.

    beats : written onsets, shape (n,); times_s : heard onsets; restarts : indices at which the
    player went back or left something out, so that time and beats do not go on together
    """
    if len(beats) < 3:
        return None
    cuts = sorted({k for k in restarts if 0 < k < len(beats)})
    steps = np.diff(beats)
    period = _typical_period(steps, np.diff(times_s), cuts)
    if period is None:
        return None
    waits = _waits(steps, np.diff(times_s), period, cuts)
    breaks = sorted({*cuts, *(k for k, _ in waits)})
    played = _played_beats(steps, cuts)
    design = _Design(played, beats, breaks)
    return _fitted(design, times_s, period, tuple(waits))


@dataclass(frozen=True)
class Grid:
    """The click as heard: when beat 0 of the passage falls, seconds a beat, clicks' distance.

    error_s : half width (95 %) within which the click's own place is known
    """

    music_s: float
    beat_s: float
    every_s: float
    error_s: float


def against_click(beats: Floats, times_s: Floats, restarts: Sequence[int], grid: Grid) -> Floats:
    """Deviations of onsets from a click that was heard, late positive [s].

    Who comes in at another click than the written one is no less in time: each stretch between
    restarts is moved by whole clicks.
    """
    off = times_s - grid.music_s - beats * grid.beat_s
    cuts = [0, *sorted({k for k in restarts if 0 < k < len(beats)}), len(beats)]
    parts = [off[a:b] - _whole_clicks(off[a:b], grid) for a, b in pairwise(cuts) if b > a]
    return np.concatenate(parts) if parts else off


def _whole_clicks(off: Floats, grid: Grid) -> float:
    return grid.every_s * round(float(np.median(off)) / grid.every_s)


def local_period(beats: Floats, times_s: Floats) -> tuple[Floats, Floats] | None:
    """Rough seconds per beat along the take: (times, periods), for the alignment's second look."""
    steps, gaps = np.diff(beats), np.diff(times_s)
    good = (steps > 0.05) & (gaps > 0.03)
    if good.sum() < 2:
        return None
    ratio = np.log(gaps[good] / steps[good])
    middle = _weighted_median(ratio, steps[good])
    near = np.clip(ratio, middle - 0.35, middle + 0.35)
    at = 0.5 * (times_s[1:] + times_s[:-1])[good]
    weight = np.exp(-0.5 * ((at[:, None] - at[None, :]) / 3.0) ** 2) * np.sqrt(steps[good])
    smooth = np.array([_weighted_median(near, row) for row in weight])
    return at, np.exp(smooth)


def _weighted_median(values: Floats, weights: Floats) -> float:
    order = np.argsort(values, kind="stable")
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, 0.5 * total[-1])])


def is_off_beat(beats: Floats) -> npt.NDArray[np.bool_]:
    """Which notes begin on the second half of a quarter: those that a swing moves."""
    return np.asarray(np.isclose(beats % 1.0, 0.5, atol=0.02))


def _typical_period(steps: Floats, gaps: Floats, cuts: Sequence[int]) -> float | None:
    good = (steps > 0.05) & (gaps > 0.02)
    good[[k - 1 for k in cuts]] = False
    if good.sum() < 2:
        return None
    return float(np.exp(_weighted_median(np.log(gaps[good] / steps[good]), steps[good])))


def _waits(
    steps: Floats, gaps: Floats, period: float, cuts: Sequence[int]
) -> list[tuple[int, float]]:
    """Notes before which the player waited: the gap is too long and the next does not make up."""
    over = gaps - steps * period
    limit = np.maximum(WAIT_BEATS * period, WAIT_S)
    limit = np.maximum(limit, 0.3 * steps * period)
    waits = []
    for k in np.flatnonzero(over > limit):
        if k + 1 in cuts:
            continue
        made_up = -over[k + 1] if k + 1 < len(over) and k + 2 not in cuts else 0.0
        if made_up < 0.4 * over[k]:
            waits.append((int(k) + 1, float(over[k] / period)))
    return waits


def _played_beats(steps: Floats, cuts: Sequence[int]) -> Floats:
    ahead = np.maximum(steps, 0.0)
    ahead[[k - 1 for k in cuts]] = 1.0
    return np.concatenate([[0.0], np.cumsum(ahead)])


class _Design:
    """Fixed parts of the fit: start, period, one shift per break, swing where it can be told."""

    def __init__(self, played: Floats, beats: Floats, breaks: Sequence[int]) -> None:
        self.played, self.breaks = played, tuple(breaks)
        self.off_beat = is_off_beat(beats).astype(float)
        count = self.off_beat.sum()
        self.swings = bool(count >= FEWEST_SWUNG and len(beats) - count >= FEWEST_SWUNG)

    def columns(self, swing: bool, window: slice) -> Floats:
        played = self.played[window]
        parts = [np.ones(len(played)), played - played[0]]
        first, last = window.indices(len(self.played))[:2]
        shifts = [k for k in self.breaks if first < k < last]
        parts += [(np.arange(first, last) >= k).astype(float) for k in shifts]
        if swing:
            parts.append(self.off_beat[window])
        return np.column_stack(parts)


def _fitted(
    design: _Design, times: Floats, period: float, waits: tuple[tuple[int, float], ...]
) -> TempoFit:
    n = len(times)
    deviations, spread, slope = np.zeros(n), np.zeros(n), np.full(n, period)
    scatters, swings = [], []
    for window, inner in _stretches(n):
        one = _best(design, times, window)
        local = slice(inner.start - window.start, inner.stop - window.start)
        deviations[inner] = one.deviations[local]
        spread[inner], slope[inner] = one.spread[local], one.slope[local]
        scatters.append(one.scatter)
        swings.append(one.swing)
    mean, scatter = _mean_period(design.played, slope), float(np.median(scatters))
    # A mean tempo hangs on its two ends; 0.3 % for what clocks and the fit itself may err.
    share = 2.0 * np.sqrt(2.0) * scatter / max(mean * design.played[-1], mean) + 0.003
    return TempoFit(
        deviations, spread, scatter, 60.0 / mean, float(60.0 / mean * share), 60.0 / slope, waits,
        float(np.mean(swings)) / mean, design.played, design.swings,
    )  # fmt: skip


def _stretches(n: int) -> list[tuple[slice, slice]]:
    """(window fitted, part of it that is kept)."""
    if n <= LONGEST:
        return [(slice(0, n), slice(0, n))]
    out, start = [], 0
    while start < n:
        stop = min(start + LONGEST - 2 * OVERLAP, n)
        if n - stop < OVERLAP:
            stop = n
        out.append((slice(max(start - OVERLAP, 0), min(stop + OVERLAP, n)), slice(start, stop)))
        start = stop
    return out


def _mean_period(played: Floats, slope: Floats) -> float:
    span = played[-1] - played[0]
    if span <= 0:
        return float(np.mean(slope))
    return float(np.trapezoid(slope, played) / span)


@dataclass(frozen=True, eq=False)
class _Fit:
    deviations: Floats
    spread: Floats
    slope: Floats
    scatter: float
    swing: float
    score: float


def _best(design: _Design, times: Floats, window: slice) -> _Fit:
    plain = _robust(design.columns(False, window), design.played[window], times[window])
    if not design.swings or design.off_beat[window].sum() < 4:
        return plain
    swung = _robust(design.columns(True, window), design.played[window], times[window], swing=True)
    # A swung rhythm must be clearly better; a chance offset of the off-beats is not one.
    return swung if swung.score > plain.score + 4.0 and abs(swung.swing) > 0.02 else plain


def _robust(columns: Floats, played: Floats, times: Floats, *, swing: bool = False) -> _Fit:
    weights = np.ones(len(times))
    kernel = _wiener(played - played[0])
    best: _Fit | None = None
    for _ in range(5):
        fits = [_gls(columns, kernel * r, times, weights, swing=swing) for r in RATIOS]
        best = max(fits, key=lambda f: f.score)
        z = best.deviations / np.maximum(best.spread, 1e-4)
        weights = np.minimum((FREEDOM + 1.0) / (FREEDOM + z**2), 1.0)
    assert best is not None
    return _with_slope(best, columns, kernel, times, weights, played)


def _wiener(x: Floats) -> Floats:
    """Covariance of an integrated Wiener process that starts at 0."""
    low = np.minimum(x[:, None], x[None, :])
    gap = np.abs(x[:, None] - x[None, :])
    return np.asarray(low**3 / 3.0 + gap * low**2 / 2.0)


def _gls(columns: Floats, kernel: Floats, times: Floats, weights: Floats, *, swing: bool) -> _Fit:
    """Generalised least squares; leave-one-out deviations in closed form."""
    n, p = columns.shape
    inverse = np.linalg.inv(kernel + np.diag(1.0 / weights))
    information = columns.T @ inverse @ columns + 1e-9 * np.eye(p)
    covariance = np.linalg.inv(information)
    projected = inverse - inverse @ columns @ covariance @ columns.T @ inverse
    lifted = projected @ times
    freedom = max(n - p, 0) + PRIOR_WEIGHT
    variance = (times @ lifted + PRIOR_WEIGHT * PRIOR_SCATTER_S**2) / freedom
    diagonal = np.maximum(np.diag(projected), 1e-9)
    # The note's own weight must not excuse it: its deviation is judged with the common scatter.
    ahead = 1.0 / diagonal - 1.0 / weights + 1.0
    score = -0.5 * (
        freedom * np.log(variance)
        - np.linalg.slogdet(inverse)[1]
        + np.linalg.slogdet(information)[1]
    )
    coefficients = covariance @ columns.T @ inverse @ times
    return _Fit(
        lifted / diagonal, np.sqrt(variance * np.maximum(ahead, 1.0)), np.zeros(n),
        float(np.sqrt(variance)), float(coefficients[-1]) if swing else 0.0, float(score),
    )  # fmt: skip


def _with_slope(
    fit: _Fit, columns: Floats, kernel: Floats, times: Floats, weights: Floats, played: Floats
) -> _Fit:
    """Add the tempo at each note: the slope of the curve at the ratio of the best fit."""
    ratio = max(RATIOS, key=lambda r: _gls(columns, kernel * r, times, weights, swing=False).score)
    covariance = kernel * ratio + np.diag(1.0 / weights)
    inverse = np.linalg.inv(covariance)
    information = columns.T @ inverse @ columns + 1e-9 * np.eye(columns.shape[1])
    coefficients = np.linalg.solve(information, columns.T @ inverse @ times)
    rest = inverse @ (times - columns @ coefficients)
    slope = coefficients[1] + ratio * (_wiener_slope(played - played[0]) @ rest)
    return _Fit(
        fit.deviations, fit.spread, np.asarray(np.maximum(slope, 0.05)), fit.scatter, fit.swing,
        fit.score,
    )  # fmt: skip


def _wiener_slope(x: Floats) -> Floats:
    """Covariance of the process's slope at x[i] with its value at x[j]."""
    s, t = x[:, None], x[None, :]
    low = np.minimum(s, t)
    return np.asarray(np.where(s <= t, s * t - s**2 / 2.0, low**2 / 2.0))
