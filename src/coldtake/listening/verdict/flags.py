"""Which notes are flagged as early, late or out of tune: only those whose own reading is sure.

A flag is an accusation. It needs an onset, or a pitch, that is itself sure, and it must stand out
of the player's own scatter by more than chance brings about in a whole take. What is not flagged
keeps its figure. The limits were chosen on rendered takes of the tuning bank (`bench/listening`).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from coldtake.listening.alignment.performed_notes import PerformedNote
from coldtake.listening.features.audio_features import Floats
from coldtake.listening.features.tempo import MOST_SWING_BEATS, TempoFit, is_off_beat

MISTUNED_CENTS = 25.0
ASTRAY_CENTS = 100.0  # farther off is another note, or no reading at all
CLEAR_TONE = 0.5  # share of its frames in which a tone is heard
DISPLACED_S = 0.06  # at least so far off the player's own timing
DISPLACED_SPREADS = 3.6  # and so many times the player's own spread: once in 3000 notes by chance
SURE_ONSET_S = 0.06  # an onset known less well than this accuses nobody
SURE_ATTACK = 0.6
ROOM_SHARE = 0.5  # nearer to where a neighbour was due than to its own place, it is taken for that


@dataclass(frozen=True)
class NoteTiming:
    """One note's timing [s].

    from_grid_s, own_s : deviation from the grid, and from the player's own timing; spread_s : that
    of the player there; room_s : to where the nearest neighbour was due
    swings : whether it may be a swung off-beat in a take with too few of them to tell
    """

    from_grid_s: float
    own_s: float
    spread_s: float
    room_s: float
    swings: bool = False


def timings(
    fit: TempoFit | None, off_s: Floats, played: tuple[int, ...], beats: Floats
) -> dict[int, NoteTiming]:
    """Timing by note index; `beats` and `off_s` are those of the played notes, in order."""
    if fit is None:
        return {}
    beat_s = 60.0 / fit.curve_bpm
    steps = np.concatenate([[np.inf], np.abs(np.diff(beats)), [np.inf]])
    room = np.minimum(steps[:-1], steps[1:]) * beat_s
    swings = _may_swing(beats, fit.deviations_s / beat_s) & (not fit.swing_told)
    return {
        i: NoteTiming(
            float(off_s[k]), float(fit.deviations_s[k]), float(fit.spread_s[k]), float(room[k]),
            bool(swings[k]),
        )
        for k, i in enumerate(played)
    }  # fmt: skip


def _may_swing(beats: Floats, late_beats: Floats) -> npt.NDArray[np.bool_]:
    """Off-beats as late as a swing has them, where no other off-beat was played straight."""
    off_beat = is_off_beat(beats)
    late = off_beat & (late_beats > 0) & (late_beats < MOST_SWING_BEATS)
    straightest = np.where(off_beat, np.abs(late_beats), np.inf)
    return np.array(
        [swung and not (straightest < 0.5 * late_beats[k]).any() for k, swung in enumerate(late)],
        dtype=bool,
    )


def least_displaced_s(error_s: float, spread_s: float) -> float:
    """How far off the player's own tempo an onset is clearly displaced.

    error_s : half width within which it is known; spread_s : the player's own spread there
    """
    return max(DISPLACED_S + error_s, DISPLACED_SPREADS * spread_s)


def is_displaced(playing: PerformedNote, timing: NoteTiming | None) -> bool:
    """Whether a note that was heard is surely early or late."""
    if timing is None or timing.swings or playing.right is None:
        return False
    if playing.error_s > SURE_ONSET_S or playing.attack < SURE_ATTACK:
        return False
    off = abs(timing.own_s)
    enough = off > least_displaced_s(playing.error_s, timing.spread_s)
    return enough and off < ROOM_SHARE * timing.room_s


def is_mistuned(playing: PerformedNote, cents: float | None) -> bool:
    """Whether a right note is surely out of tune: beyond the limit by more than its own error."""
    if cents is None or playing.right is not True or playing.tone.voiced < CLEAR_TONE:
        return False
    return MISTUNED_CENTS + playing.tone.error_cents < abs(cents) < ASTRAY_CENTS
