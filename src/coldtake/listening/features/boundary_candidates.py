"""Places where a note may begin or end, found generously; the alignment chooses among them.

Four kinds of evidence give a boundary: a peak of spectral flux (an attack), a dip of the level, a
step of the pitch track, and the tone starting or stopping. Those within 45 ms are one boundary.
"""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import maximum_filter1d, median_filter, uniform_filter1d

from coldtake.listening.features.audio_features import (
    FINE_STEP_S,
    PITCH_STEP_S,
    AudioFeatures,
    Floats,
)
from coldtake.listening.features.onset_strength import (
    DIP_DB,
    FLUX_FLOOR,
    attack_strength,
    level_dips,
)

MERGE_S = 0.045
LOOK_S = 0.060  # a step of pitch and the attack that goes with it lie within this time
STEP_SEMITONES = 0.6
SHARED_S = 0.06
OCTAVES = (12.0, 19.02, 24.0)  # steps that a pitch detector makes without the player
Ints = npt.NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Boundaries:
    """Candidate boundaries, ordered in time; arrays of one shape (n,).

    times_s [s]; attack : 0..1, how sure a tone was struck anew there;
    change : 0..1, whether another pitch (or a pitch after none) follows
    """

    times_s: Floats
    attack: Floats
    change: Floats

    def __len__(self) -> int:
        return len(self.times_s)


def find_boundaries(hearing: AudioFeatures, also_s: Sequence[float] = ()) -> Boundaries:
    """Boundaries of a recording; `also_s` are further places to look at closely [s]."""
    strength = attack_strength(hearing)
    starts, stops = _edges(hearing)
    places = _Places(_peaks(hearing.flux) * FINE_STEP_S)
    places.add(_dips(level_dips(hearing)) * FINE_STEP_S, LOOK_S)
    places.add(_steps(hearing) * PITCH_STEP_S, LOOK_S)
    places.add(starts * PITCH_STEP_S, LOOK_S)
    places.add([_snap(strength, t) for t in also_s], MERGE_S)
    places.add(stops * PITCH_STEP_S, MERGE_S)
    times = _merged(sorted(_at_best(strength, t) for t in places.times), strength)
    attack = _one_attack(times, np.array([_at(strength, t) for t in times]))
    return Boundaries(times, attack, np.array([_change(hearing, t) for t in times]))


class _Places:
    """Times in order, to which others are added where none is near."""

    def __init__(self, times: Iterable[float]) -> None:
        self.times = sorted(float(t) for t in times)

    def add(self, times: Iterable[float], apart_s: float) -> None:
        for time in times:
            at = bisect_left(self.times, time)
            if all(abs(t - time) > apart_s for t in self.times[max(at - 1, 0) : at + 1]):
                self.times.insert(at, float(time))


def _dips(depth: Floats) -> Ints:
    top = maximum_filter1d(depth, 21, mode="nearest")
    return np.flatnonzero((depth == top) & (depth > DIP_DB - 1.5))


def _peaks(flux: Floats) -> Ints:
    base = median_filter(flux, size=101, mode="nearest")
    smooth = uniform_filter1d(flux, 3)
    top = maximum_filter1d(smooth, 9, mode="nearest")
    return np.flatnonzero((smooth == top) & (smooth > FLUX_FLOOR + 1.5 * base))


def _steps(hearing: AudioFeatures) -> Ints:
    """Pitch frames at which the pitch of the next frames differs from that of the last ones."""
    pitch, voiced = hearing.pitch, hearing.voiced
    if len(pitch) < 8:
        return np.zeros(0, np.intp)
    smooth = median_filter(pitch, size=3, mode="nearest")
    jump = np.zeros(len(pitch))
    jump[2:-1] = np.where(voiced[:-3] & voiced[3:], np.abs(smooth[3:] - smooth[:-3]), 0.0)
    top = maximum_filter1d(jump, 5, mode="nearest")
    found = np.flatnonzero((jump == top) & (jump >= STEP_SEMITONES))
    keep = np.ones(len(found), bool)
    keep[1:] = np.diff(found) > 1
    return found[keep]


def _edges(hearing: AudioFeatures) -> tuple[Ints, Ints]:
    """Frames where tone starts after and ends before at least three frames without."""
    voiced = hearing.voiced.copy()
    gaps = np.flatnonzero(np.diff(np.concatenate([[1], voiced.astype(int), [1]])))
    for start, stop in zip(gaps[::2], gaps[1::2], strict=False):
        if stop - start < 3 and start > 0:
            voiced[start:stop] = True
    change = np.diff(np.concatenate([[0], voiced.astype(int), [0]]))
    return np.flatnonzero(change > 0), np.flatnonzero(change < 0)


def _at_best(strength: Floats, time_s: float) -> float:
    """The place of the strongest attack evidence within 24 ms, or the place itself."""
    at = min(max(round(time_s / FINE_STEP_S), 0), len(strength) - 1)
    low = max(at - 6, 0)
    best = low + int(np.argmax(strength[low : at + 7]))
    return best * FINE_STEP_S if strength[best] > strength[at] + 0.1 else time_s


def _snap(strength: Floats, time_s: float) -> float:
    """The place of the strongest attack evidence within LOOK_S of a time."""
    reach, at = round(LOOK_S / FINE_STEP_S), round(time_s / FINE_STEP_S)
    low, high = max(at - reach, 0), min(at + reach + 1, len(strength))
    if high <= low:
        return time_s
    return float((low + int(np.argmax(strength[low:high]))) * FINE_STEP_S)


def _merged(times: list[float], strength: Floats) -> Floats:
    """Join neighbours closer than MERGE_S, keeping the one with the stronger attack."""
    kept: list[float] = []
    for time in times:
        if kept and time - kept[-1] < MERGE_S:
            if _at(strength, time) > _at(strength, kept[-1]):
                kept[-1] = time
        else:
            kept.append(time)
    return np.array(kept)


def _at(strength: Floats, time_s: float) -> float:
    return float(strength[min(max(round(time_s / FINE_STEP_S), 0), len(strength) - 1)])


def _one_attack(times: Floats, attack: Floats) -> Floats:
    """Leave the evidence of one attack to the strongest of the places that share it."""
    first = np.searchsorted(times, times - SHARED_S)
    last = np.searchsorted(times, times + SHARED_S, side="right")
    strongest = np.array([attack[a:b].max() for a, b in zip(first, last, strict=True)])
    return np.where(attack < strongest - 0.02, 0.3 * attack, attack)


def _change(hearing: AudioFeatures, time_s: float) -> float:
    """1 where the pitch differs before and after, or where tone begins; 0 where it goes on."""
    at = round(time_s / PITCH_STEP_S)
    before = _steady(hearing, at - 5, at - 1)
    after = _steady(hearing, at + 2, at + 7)
    if after is None:
        return 0.0
    if before is None:
        return 1.0
    step = abs(after - before)
    if min(abs(step - octave) for octave in OCTAVES) < 0.5:
        return 0.4
    return float(np.clip((step - 0.35) / 0.4, 0.0, 1.0))


def _steady(hearing: AudioFeatures, start: int, stop: int) -> float | None:
    start, stop = max(start, 0), min(max(stop, 0), len(hearing.pitch))
    voiced = hearing.voiced[start:stop]
    if not voiced.any():
        return None
    heard = np.sort(hearing.pitch[start:stop][voiced])
    half = len(heard) // 2
    return float(heard[half] if len(heard) % 2 else 0.5 * (heard[half - 1] + heard[half]))
