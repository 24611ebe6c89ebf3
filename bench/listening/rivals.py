"""General-purpose listeners, told nothing of the passage.

The second needs librosa, which nothing else here does: `pip install librosa` beside the development
requirements. Without it the table has the first alone, and says so.
"""

from collections import Counter
from importlib.util import find_spec

import numpy as np
import swift_f0
from band import RATE
from performances import Truth
from scoring import played_notes, score_f1

_DETECTOR: list[swift_f0.SwiftF0] = []


def own_segmentation(sound: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Onsets [s] and pitches of swift-f0's own note segmentation."""
    if not _DETECTOR:
        _DETECTOR.append(swift_f0.SwiftF0(threads=1, spin=False))
    notes = swift_f0.segment_notes(_DETECTOR[0].detect(sound, RATE))
    pitches = [69 + 12 * np.log2(n.pitch_hz / 440.0) for n in notes]
    return np.array([n.start for n in notes]), np.array(pitches)


def pyin_and_spectral_onsets(sound: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Onsets [s] by spectral flux, each with the median of pYIN's pitch until the next.

    M. Mauch, S. Dixon, "pYIN: a fundamental frequency estimator using probabilistic threshold
    distributions", ICASSP 2014, and the onset detector, both as librosa has them.
    """
    import librosa

    rate, hop = 22050, 512
    low = librosa.resample(sound.astype(np.float32), orig_sr=RATE, target_sr=rate)
    hz, voiced, _ = librosa.pyin(low, fmin=36.0, fmax=2200.0, sr=rate, hop_length=hop)
    starts = librosa.onset.onset_detect(y=low, sr=rate, hop_length=256, units="time")
    onsets, pitches = [], []
    for start, end in zip(starts, [*starts[1:], len(low) / rate], strict=True):
        part = slice(int(start * rate / hop), max(int(end * rate / hop), 1))
        if voiced[part].any():
            onsets.append(start)
            pitches.append(69 + 12 * np.log2(np.nanmedian(hz[part]) / 440.0))
    return np.array(onsets), np.array(pitches)


RIVALS = {"swift-f0 segmentation": own_segmentation}
if find_spec("librosa"):
    RIVALS["pYIN with spectral onsets"] = pyin_and_spectral_onsets


def score_rivals(counts: Counter, sound: np.ndarray, truth: Truth) -> None:
    """Their F1, and the right notes that they would have called wrong or missed."""
    if truth.restarts:
        return
    ref_s, ref_pitch = played_notes(truth)
    for name, listen in RIVALS.items():
        est_s, est_pitch = listen(sound)
        score_f1(counts, ref_s, ref_pitch, est_s, est_pitch, f"{name} ")
        for note in truth.notes:
            if note.status == "right" and note.onset_s is not None:
                heard = np.abs(est_s - note.onset_s) < 0.1
                same = np.abs(est_pitch - note.key - note.cents / 100.0) < 0.5
                counts[f"{name} right"] += 1
                counts[f"{name} accused"] += not bool((heard & same).any())
