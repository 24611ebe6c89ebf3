"""Whether a recording can carry a question at all: silence, noise, clipping, length."""

from dataclasses import dataclass

import numpy as np

from coldtake.listening.features.audio_features import AudioFeatures
from coldtake.listening.sources.sound import Samples, Sound

SHORTEST_S = 0.4
SILENT_PEAK = 10 ** (-60.0 / 20.0)  # of full scale
CLIPPED_SHARE = 0.004  # of the samples louder than -20 dB of the peak
AT_TOP, NEAR_TOP = 0.995, 0.97  # of the peak
FLAT_SAMPLES, FLAT_SHARE = 3, 0.65  # a cut-off top: so many at the top, of those near it
TONE_SHARE = 0.2  # of the loud time in which a tone must be heard
STEADY_SEMITONES = 0.35  # a tone keeps its pitch from one frame to the next within this


@dataclass(frozen=True)
class Abstention:
    """Why nothing can be told, and what to do."""

    reason: str
    remedy: str
    code: str = ""


def obstacle_in_sound(sound: Sound) -> Abstention | None:
    """What can be seen before listening: too short, silent, clipped."""
    if sound.duration_s < SHORTEST_S:
        return Abstention(
            f"The recording is only {sound.duration_s:.2f} s long.",
            "Start the take before the first note and stop it after the last.",
        )
    peak = float(np.abs(sound.samples).max(initial=0.0))
    if peak < SILENT_PEAK:
        return Abstention(
            "The recording is silent.",
            "Check that the right microphone is chosen and not muted.",
        )
    share = clipped_share(sound.samples, peak)
    if share > CLIPPED_SHARE:
        return Abstention(
            f"The recording is clipped: {share * 100:.0f} % of its loud samples are cut off.",
            "Turn the input level down or move the microphone away.",
        )
    return None


def clipped_share(samples: Samples, peak: float) -> float:
    """Share of the loud samples that lie on cut-off tops.

    A rounded top of any wave, also of a steady pure tone, stays within 0.5 % of its peak for
    sqrt(0.5 / 3) = 41 % of the time that it stays within 3 %; a cut-off top for nearly all of it.
    """
    size = np.abs(samples)
    near = np.concatenate([[False], size >= NEAR_TOP * peak, [False]])
    edges = np.flatnonzero(near[1:] != near[:-1])
    starts, lengths = edges[::2], edges[1::2] - edges[::2]
    if not len(starts):
        return 0.0
    at_top = np.add.reduceat((size >= AT_TOP * peak).astype(np.int64), starts)
    cut_off = (at_top >= FLAT_SAMPLES) & (at_top >= FLAT_SHARE * lengths)
    loud = int((size > 0.1 * peak).sum())
    return float(at_top[cut_off].sum()) / max(loud, 1)


def obstacle_in_hearing(hearing: AudioFeatures) -> Abstention | None:
    """What shows after listening: no tone in the sound."""
    loud = hearing.level_db > hearing.level_db.max() - 25.0
    share = tone_share(hearing, loud)
    if share < TONE_SHARE:
        return Abstention(
            "No clear tone can be heard in the recording, only noise.",
            "Move the microphone closer to the instrument and away from other sounds.",
        )
    return None


def tone_share(hearing: AudioFeatures, loud: "np.ndarray[tuple[int], np.dtype[np.bool_]]") -> float:
    """Share of the loud frames in which a tone is heard and keeps its pitch."""
    steady = np.zeros(len(hearing.pitch), bool)
    same = np.abs(np.diff(hearing.pitch)) < STEADY_SEMITONES
    steady[1:] = same & hearing.voiced[1:] & hearing.voiced[:-1]
    return float((steady & loud).sum() / max(loud.sum(), 1))
