"""Places where a note may begin or end, found generously; the alignment chooses among them.

Four kinds of evidence give a boundary: a peak of spectral flux (an attack), a dip of the level, a
step of the pitch track, and the tone starting or stopping. Those within 45 ms are one boundary.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import maximum_filter1d, median_filter, uniform_filter1d

from coldtake.listening.hearing import FINE_STEP_S, PITCH_STEP_S, Floats, Hearing

MERGE_S = 0.045
LOOK_S = 0.060  # a step of pitch and the attack that goes with it lie within this time
FLUX_FLOOR = 0.035  # growth of the log spectrum; vibrato and noise stay below about this
STEP_SEMITONES = 0.6
SHARED_S = 0.06
DIP_DB = 4.5  # a dip of the level as deep as this is as likely as not a new attack
OCTAVES = (12.0, 19.02, 24.0)  # steps that a pitch detector makes without the player
Ints = npt.NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Boundaries:
    """Candidate boundaries, ordered in time; arrays of one shape (n,).

    times_s; attack : 0..1, how sure a tone was struck anew there;
    change : 0..1, whether another pitch (or a pitch after none) follows;
    ends : whether a tone stops there
    """

    times_s: Floats
    attack: Floats
    change: Floats
    ends: npt.NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.times_s)


def find_boundaries(hearing: Hearing, also_s: Sequence[float] = ()) -> Boundaries:
    """Boundaries of a recording; `also_s` are further places to look at closely [s]."""
    strength = attack_strength(hearing)
    steps, starts, ends = _steps(hearing), *_edges(hearing)
    times = [float(p * FINE_STEP_S) for p in _peaks(hearing.flux)]
    dips = [float(d * FINE_STEP_S) for d in _dips(level_dips(hearing))]
    times += [d for d in dips if _nearest(times, d) > LOOK_S]
    for extra in (*(s * PITCH_STEP_S for s in steps), *(s * PITCH_STEP_S for s in starts)):
        if _nearest(times, extra) > LOOK_S:
            times.append(float(extra))
    for wanted in also_s:
        place = _snap(strength, wanted)
        if _nearest(times, place) > MERGE_S:
            times.append(place)
    stop_times = [e * PITCH_STEP_S for e in ends]
    times += [t for t in stop_times if _nearest(times, t) > MERGE_S]
    joined = _merged(sorted(_at_best(strength, t) for t in times), strength)
    return _described(hearing, joined, strength, stop_times)


def attack_strength(hearing: Hearing) -> Floats:
    """How sure a new attack is, 0..1, on the fine clock.

    A logistic rule over the flux against its surroundings, the rise of the level across the place,
    and the level reached (a new note is never far below the others); fitted on rendered takes of
    the tuning bank, clean, in a room, in noise and through a telephone (bench/listening).
    """
    flux = hearing.flux
    base = median_filter(flux, size=151, mode="nearest")
    ratio = (flux - base) / (FLUX_FLOOR + base)
    struck = maximum_filter1d(2.5 * np.log(np.maximum(ratio, 1e-3) / 1.3), 9, mode="nearest")
    lowest, highest = _sides(hearing.fine_db)
    rise = np.clip(highest - lowest, 0.0, 10.0)
    faint = np.clip(highest - _usual_level(hearing.fine_db) + 8.0, -15.0, 0.0)
    odds = -1.6 + 0.84 * np.clip(struck, -5.0, 6.9) + 0.36 * rise + 1.06 * faint
    odds += 2.2 * np.minimum(rise - 2.0, 0.0)  # the end of a note changes the spectrum too
    return np.asarray(1.0 / (1.0 + np.exp(-odds)))


def _sides(level_db: Floats) -> tuple[Floats, Floats]:
    """Lowest level from 48 ms before to 8 ms after each place, and highest 8 to 56 ms after."""
    level = np.maximum(level_db, level_db.max(initial=-120.0) - 60.0)
    after = maximum_filter1d(level, 13, mode="nearest", origin=-6)
    before = -maximum_filter1d(-level, 15, mode="nearest", origin=5)
    return before, np.roll(after, -2)


def _usual_level(level_db: Floats) -> float:
    loud = level_db[level_db > level_db.max(initial=-120.0) - 30.0]
    return float(np.percentile(loud, 60)) if len(loud) else 0.0


def level_dips(hearing: Hearing) -> Floats:
    """How far the level lies below both its sides (100 ms each) [dB], on the fine clock."""
    reach = round(0.1 / FINE_STEP_S)
    level = uniform_filter1d(hearing.fine_db, 3, mode="nearest")
    level = np.maximum(level, level.max(initial=-120.0) - 45.0)
    left = maximum_filter1d(level, reach, mode="nearest", origin=(reach - 1) // 2)
    right = maximum_filter1d(level, reach, mode="nearest", origin=-(reach // 2))
    return np.asarray(np.maximum(np.minimum(left, right) - level, 0.0))


def _dips(depth: Floats) -> Ints:
    top = maximum_filter1d(depth, 21, mode="nearest")
    return np.flatnonzero((depth == top) & (depth > DIP_DB - 1.5))


def _peaks(flux: Floats) -> Ints:
    base = median_filter(flux, size=101, mode="nearest")
    smooth = uniform_filter1d(flux, 3)
    top = maximum_filter1d(smooth, 9, mode="nearest")
    return np.flatnonzero((smooth == top) & (smooth > FLUX_FLOOR + 1.5 * base))


def _steps(hearing: Hearing) -> Ints:
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


def _edges(hearing: Hearing) -> tuple[Ints, Ints]:
    """Frames where tone starts after and ends before at least three frames without."""
    voiced = hearing.voiced.copy()
    gaps = np.flatnonzero(np.diff(np.concatenate([[1], voiced.astype(int), [1]])))
    for start, stop in zip(gaps[::2], gaps[1::2], strict=False):
        if stop - start < 3 and start > 0:
            voiced[start:stop] = True
    change = np.diff(np.concatenate([[0], voiced.astype(int), [0]]))
    return np.flatnonzero(change > 0), np.flatnonzero(change < 0)


def _nearest(times: Sequence[float], time: float) -> float:
    return min((abs(t - time) for t in times), default=np.inf)


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


def _described(
    hearing: Hearing, times: Floats, strength: Floats, stops: Sequence[float]
) -> Boundaries:
    attack = np.array([_at(strength, t) for t in times])
    attack = _one_attack(times, attack)
    change = np.array([_change(hearing, t) for t in times])
    ends = np.array([_nearest(stops, t) < MERGE_S for t in times], dtype=bool)
    return Boundaries(times, attack, change, ends)


def _one_attack(times: Floats, attack: Floats) -> Floats:
    """Leave the evidence of one attack to the strongest of the places that share it."""
    near = np.abs(times[:, None] - times[None, :]) < SHARED_S
    strongest = np.where(near, attack[None, :], 0.0).max(axis=1, initial=0.0)
    return np.where(attack < strongest - 0.02, 0.3 * attack, attack)


def _change(hearing: Hearing, time_s: float) -> float:
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


def _steady(hearing: Hearing, start: int, stop: int) -> float | None:
    start, stop = max(start, 0), min(max(stop, 0), len(hearing.pitch))
    voiced = hearing.voiced[start:stop]
    if not voiced.any():
        return None
    return float(np.median(hearing.pitch[start:stop][voiced]))
