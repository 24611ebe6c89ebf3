"""How sure it is that a tone was struck anew, at every moment of a recording."""

import numpy as np
from scipy.ndimage import maximum_filter1d, median_filter, uniform_filter1d

from coldtake.listening.features.audio_features import FINE_STEP_S, AudioFeatures, Floats

FLUX_FLOOR = 0.035  # growth of the log spectrum; vibrato and noise stay below about this
DIP_DB = 4.5  # a dip of the level as deep as this may be a new attack


def attack_strength(hearing: AudioFeatures) -> Floats:
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
    odds -= 4.0 * _click_like(hearing) * np.clip(0.5 * struck - 1.0, 0.0, 1.0)
    return np.asarray(1.0 / (1.0 + np.exp(-odds)))


def _click_like(hearing: AudioFeatures) -> Floats:
    """0..1 where a burst neither follows a dip of the level nor leaves a higher level behind.

    A click from a loudspeaker is such a burst; hardly any stroke of an instrument is.
    """
    dip = maximum_filter1d(level_dips(hearing), 13, mode="nearest", origin=2)
    level = uniform_filter1d(hearing.fine_db, 9, mode="nearest")
    lasting = np.roll(level, -16) - np.roll(level, 7)
    undipped, unlasting = np.clip((2.5 - dip) / 1.5, 0.0, 1.0), np.clip(1.0 - lasting, 0.0, 1.0)
    return np.asarray(undipped * unlasting)


def _sides(level_db: Floats) -> tuple[Floats, Floats]:
    """Lowest level from 48 ms before to 8 ms after each place, and highest 8 to 56 ms after."""
    level = np.maximum(level_db, level_db.max(initial=-120.0) - 60.0)
    after = maximum_filter1d(level, 13, mode="nearest", origin=-6)
    before = -maximum_filter1d(-level, 15, mode="nearest", origin=5)
    return before, np.roll(after, -2)


def _usual_level(level_db: Floats) -> float:
    loud = level_db[level_db > level_db.max(initial=-120.0) - 30.0]
    return float(np.percentile(loud, 60)) if len(loud) else 0.0


def level_dips(hearing: AudioFeatures) -> Floats:
    """How far the level lies below both its sides (100 ms each) [dB], on the fine clock."""
    reach = round(0.1 / FINE_STEP_S)
    level = uniform_filter1d(hearing.fine_db, 3, mode="nearest")
    level = np.maximum(level, level.max(initial=-120.0) - 45.0)
    left = maximum_filter1d(level, reach, mode="nearest", origin=(reach - 1) // 2)
    right = maximum_filter1d(level, reach, mode="nearest", origin=-(reach // 2))
    return np.asarray(np.maximum(np.minimum(left, right) - level, 0.0))
