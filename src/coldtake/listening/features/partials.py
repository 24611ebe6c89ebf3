"""What the partials of the expected pitches say, where the pitch detector alone may be astray.

Two questions are answered from the spectrum itself:

- did the partials of a pitch *grow* across a boundary? A soft new note under the loud rest of the
  one before is heard so, long before the detector changes over;
- is the tone really at the detector's pitch, or two, three or four octave-related steps lower? A
  tone at f has partials that are not multiples of 2f, 3f or 4f; a tone up there has none.
"""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
from scipy.fft import rfft

from coldtake.listening.features.audio_features import (
    PITCH_STEP_S,
    RATE,
    AudioFeatures,
    Floats,
    Samples,
)
from coldtake.listening.features.tones import Tone
from coldtake.units import pitch_to_hz

GROWTH_WINDOW = 1024  # samples, 64 ms
SIZE = 4096  # transform length with zeros added
PARTIALS = np.arange(1, 9, dtype=np.float64)
HIGHEST_HZ = 7000.0
NEIGHBOUR = 2.0 ** (1.0 / 12.0)

TONE_WINDOW = 2048  # samples, 128 ms
MULTIPLES = ((2, 12.0), (3, 19.02), (4, 24.0))
NEAR = 0.45  # semitones
STANDING = 0.06  # of the loudest partial
CLEAR = 3.0  # times the valley beside it


def growth(hearing: AudioFeatures, times_s: Floats, pitches: Floats) -> Floats:
    """How far the partials of each pitch grow across each moment, 0..1, shape (times, pitches)."""
    if not len(times_s):
        return np.zeros((0, len(pitches)))
    half = GROWTH_WINDOW // 2
    middle = np.round(times_s * RATE).astype(int)
    before = _magnitudes(hearing.samples, middle - half - 80, GROWTH_WINDOW)
    after = _magnitudes(hearing.samples, middle + half + 80, GROWTH_WINDOW)
    return np.column_stack([_growth_of(before, after, p) for p in pitches])


def _growth_of(before: Floats, after: Floats, pitch: float) -> Floats:
    base = pitch_to_hz(pitch)
    parts = PARTIALS[base * PARTIALS < HIGHEST_HZ]
    here, earlier = _at(after, base * parts), _at(before, base * parts)
    beside = np.maximum(_at(after, base * parts / NEIGHBOUR), _at(after, base * parts * NEIGHBOUR))
    # Low partials lie closer to a semitone's neighbour than the window can part; leave those out.
    parted = base * parts * (NEIGHBOUR - 1.0) > 1.6 * RATE / GROWTH_WINDOW
    weight = np.sqrt(here) * np.where(parted, 1.0, 0.35)
    grown = np.clip((here - 1.15 * earlier) / (here + 1e-9), 0.0, 1.0)
    stands = np.clip((here / (beside + 1e-9) - 1.0) / 0.6, 0.0, 1.0)
    stands = np.where(parted, stands, 1.0)
    share = (weight * grown * stands).sum(axis=1) / (weight.sum(axis=1) + 1e-9)
    return np.asarray(np.clip(share / 0.7, 0.0, 1.0))


def _magnitudes(samples: Samples, centres: npt.NDArray[np.int64], window: int) -> Floats:
    """Magnitude spectra around sample positions, shape (positions, SIZE // 2 + 1)."""
    half = window // 2
    padded = np.pad(samples, (window, window))
    at = np.clip(centres + window, half, len(padded) - half)
    frames = padded[at[:, None] + np.arange(-half, half)]
    shape = np.hanning(window).astype(np.float32)
    return np.asarray(np.abs(rfft(frames * shape, SIZE, axis=1)), dtype=np.float64)


def _at(spectra: Floats, frequencies_hz: Floats) -> Floats:
    """Largest magnitude within a bin and 0.6 % of each frequency, shape (rows, frequencies)."""
    bins = frequencies_hz * SIZE / RATE
    reach = np.maximum(1.0, 0.006 * bins)
    out = np.zeros((len(spectra), len(bins)))
    for k, (centre, far) in enumerate(zip(bins, reach, strict=True)):
        low, high = int(np.floor(centre - far)), int(np.ceil(centre + far)) + 1
        if high < spectra.shape[1]:
            out[:, k] = spectra[:, max(low, 0) : high].max(axis=1)
    return out


def settle_octaves(hearing: AudioFeatures, pitches: Floats) -> AudioFeatures:
    """Bring readings at 2, 3 or 4 times an expected frequency down where the tone is really there.

    Whole runs of frames are decided together, by the median of their evidence.
    """
    pitch = hearing.pitch.copy()
    settled = np.zeros(len(pitch), bool)
    for multiple, interval in MULTIPLES:
        off = hearing.pitch[:, None] - interval - pitches[None, :]
        astray = hearing.voiced & ~settled & (np.abs(off) < NEAR).any(axis=1)
        # A reading that is itself an expected pitch is left to the later, closer test.
        astray &= ~(np.abs(hearing.pitch[:, None] - pitches[None, :]) < NEAR).any(axis=1)
        for start, stop in _runs(astray):
            if _lower_sounds(hearing, start, stop, interval, multiple):
                pitch[start:stop] -= interval
                settled[start:stop] = True
    return replace(hearing, pitch=pitch)


def true_octave(hearing: AudioFeatures, tone: Tone, start_s: float, stop_s: float) -> Tone:
    """The tone, brought down where its partials say that it lies an octave or more lower."""
    if tone.pitch is None:
        return tone
    first, last = start_s + 0.3 * (stop_s - start_s), start_s + 0.8 * (stop_s - start_s)
    frames = np.linspace(first, last, 5) / PITCH_STEP_S
    for multiple, interval in MULTIPLES:
        votes = [evidence_below(hearing, int(f), tone.pitch - interval, multiple) for f in frames]
        if float(np.mean(votes)) > 0.5:
            return replace(tone, pitch=tone.pitch - interval)
    return tone


def _runs(mask: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(int), [0]])))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _lower_sounds(
    hearing: AudioFeatures, start: int, stop: int, interval: float, multiple: int
) -> bool:
    frames = np.arange(start, stop)[:: max((stop - start) // 8, 1)]
    votes = [evidence_below(hearing, int(f), hearing.pitch[f] - interval, multiple) for f in frames]
    return float(np.median(votes)) > 0.0


def evidence_below(hearing: AudioFeatures, frame: int, low_pitch: float, multiple: int) -> float:
    """Positive when the tone is at low_pitch, negative when at `multiple` times its frequency."""
    centre = np.array([round(frame * PITCH_STEP_S * RATE)])
    spectrum = _magnitudes(hearing.samples, centre, TONE_WINDOW)
    base = pitch_to_hz(low_pitch)
    numbers = np.arange(1, 3 * multiple + 1, dtype=np.float64)
    numbers = numbers[numbers * base < HIGHEST_HZ]
    height = _at(spectrum, numbers * base)[0]
    valley = np.minimum(
        _at(spectrum, base * (numbers - 0.5))[0], _at(spectrum, base * (numbers + 0.5))[0]
    )
    own = numbers % multiple != 0
    loud = height.max()
    standing = own & (height > STANDING * loud) & (height > CLEAR * valley)
    if loud <= 0.0:
        return 0.0
    return 1.0 if standing.sum() >= 2 or (standing[:1].any() and height[0] > 0.3 * loud) else -1.0
