"""What is heard before anything is known of the passage: pitch track, level, attack evidence.

Two clocks, both in seconds from the start of the recording:

- the pitch track of swift-f0 (L. Nieradzik, SwiftF0, 2025), one frame every 16 ms: pitch as
  fractional MIDI number, confidence 0..1 (voiced from 0.5), level in dB;
- a fine clock of 4 ms: spectral flux (growth of the log spectrum in bands, each compared with its
  own and neighbouring bands 12 ms before, after S. Boeck and G. Widmer, "Maximum filter vibrato
  suppression for onset detection", DAFx 2013), and level in dB.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import numpy.typing as npt
from scipy.fft import rfft

from coldtake.listening.sources.sound import Sound

Floats = npt.NDArray[np.float64]
Samples = npt.NDArray[np.float32]
ProgressCallback = Callable[[float], object]  # is told how far it has come, 0..1

RATE = 16_000  # Hz, of the pitch detector; all analysis runs at it
PITCH_STEP_S = 0.016
FINE_HOP = 64  # samples
FINE_STEP_S = FINE_HOP / RATE
WINDOW = 512  # samples of the fine spectrum, 32 ms
BANDS = 60
LAG = 3  # fine frames between the compared spectra
CHUNK_FRAMES = 1000
PIECE = 4 * RATE  # samples given to the detector at a time
VOICED = 0.5
LOWEST_TRACKED = 31.5  # MIDI number; the detector's own range is 46.9 Hz .. 2094 Hz
HIGHEST_TRACKED = 95.5
TRACK_SHARE = 0.8  # of all the work of a verdict, about: following the pitch


@dataclass(frozen=True, eq=False)
class AudioFeatures:
    """Evidence of one recording; arrays of one clock have one shape.

    samples : float32 at RATE, scaled so that the loudest is 0.5; gain : what they were scaled by
    """

    samples: Samples
    gain: float
    pitch: Floats
    confidence: Floats
    level_db: Floats
    flux: Floats
    fine_db: Floats

    @property
    def duration_s(self) -> float:
        """Length [s]."""
        return len(self.samples) / RATE

    @property
    def pitch_times(self) -> Floats:
        """Centres of the pitch frames [s]."""
        return np.arange(len(self.pitch), dtype=np.float64) * PITCH_STEP_S

    @cached_property
    def voiced(self) -> npt.NDArray[np.bool_]:
        """Pitch frames in which a tone was heard."""
        return self.confidence >= VOICED


def hear(
    sound: Sound, lowest: float = 40.0, highest: float = 90.0, tell: ProgressCallback | None = None
) -> AudioFeatures:
    """Analyse a recording; lowest and highest expected MIDI pitch choose the detector's octave."""
    samples, gain = _prepared(sound)
    pitch, confidence, level_db = _track(samples, lowest, highest, tell)
    flux, fine_db = _fine(samples)
    return AudioFeatures(samples, gain, pitch, confidence, level_db, flux, fine_db)


def _prepared(sound: Sound) -> tuple[Samples, float]:
    samples = sound.at(RATE)
    loudest = float(np.abs(samples).max(initial=0.0))
    gain = 0.5 / loudest if loudest > 0 else 1.0
    return np.asarray(samples * np.float32(gain), dtype=np.float32), gain


@lru_cache(maxsize=1)
def _detector() -> "swift_f0.SwiftF0":  # type: ignore[name-defined] # noqa: F821
    import swift_f0

    return swift_f0.SwiftF0(threads=1, spin=False)


def _track(
    samples: Samples, lowest: float, highest: float, tell: ProgressCallback | None = None
) -> tuple[Floats, Floats, Floats]:
    """Pitch track. Beyond the detector's range it hears the sound an octave up or down."""
    found = _detected(samples, tell)
    pitch, confidence = 69.0 + 12.0 * np.log2(found.pitch_hz / 440.0), found.confidence
    if lowest < LOWEST_TRACKED:
        pitch, confidence = _beyond(samples, pitch, confidence, octave=-1)
    if highest > HIGHEST_TRACKED:
        pitch, confidence = _beyond(samples, pitch, confidence, octave=1)
    return pitch, confidence, found.loudness_db


def _detected(samples: Samples, tell: ProgressCallback | None = None) -> "swift_f0.PitchResult":  # type: ignore[name-defined] # noqa: F821
    """The detector's result, fed piece by piece: the same frames with 100 MB less than at once."""
    import swift_f0

    samples = np.pad(samples, (0, max(4096 - len(samples), 0)))
    stream = _detector().stream()
    parts = []
    for start in range(0, len(samples), PIECE):
        parts.append(stream.push(samples[start : start + PIECE], RATE))
        if tell is not None:
            tell(TRACK_SHARE * min((start + PIECE) / len(samples), 1.0))
    return swift_f0.concat([*parts, stream.flush()])


def _beyond(
    samples: Samples, pitch: Floats, confidence: Floats, *, octave: int
) -> tuple[Floats, Floats]:
    """Let the detector hear the sound at another speed and take over what only that can tell.

    A tape run twice as fast sounds an octave up: what lies at 30..60 Hz comes into its range.
    """
    import soxr

    factor = 2.0**octave
    other = soxr.resample(samples, RATE, RATE * factor, quality="HQ")
    found = _detected(other)
    heard = 69.0 + 12.0 * np.log2(found.pitch_hz / 440.0) + 12.0 * octave
    at = np.clip(np.round(np.arange(len(pitch)) * factor).astype(int), 0, len(heard) - 1)
    sure = found.confidence[at] >= VOICED
    edge = heard[at] < LOWEST_TRACKED + 3 if octave < 0 else heard[at] > HIGHEST_TRACKED - 3
    take = sure & edge
    return np.where(take, heard[at], pitch), np.where(take, found.confidence[at], confidence)


@lru_cache(maxsize=1)
def _bands() -> npt.NDArray[np.float32]:
    """Triangular bands, equally spaced on a scale linear below 500 Hz and logarithmic above."""
    low, high = np.log1p(60.0 / 500.0), np.log1p(7600.0 / 500.0)
    centres = 500.0 * np.expm1(np.linspace(low, high, BANDS + 2))
    bins = np.fft.rfftfreq(WINDOW, 1.0 / RATE)
    up = (bins[:, None] - centres[:-2]) / np.maximum(centres[1:-1] - centres[:-2], 31.25)
    down = (centres[2:] - bins[:, None]) / np.maximum(centres[2:] - centres[1:-1], 31.25)
    return np.asarray(np.clip(np.minimum(up, down), 0.0, None), dtype=np.float32)


def _fine(samples: Samples) -> tuple[Floats, Floats]:
    """Flux and level on the fine clock, computed chunk by chunk."""
    count = len(samples) // FINE_HOP + 1
    padded = np.pad(samples, (WINDOW // 2, WINDOW))
    frames = np.lib.stride_tricks.sliding_window_view(padded, WINDOW)[::FINE_HOP]
    flux, level = np.zeros(count), np.zeros(count)
    before = np.zeros((LAG, BANDS), np.float32)
    for start in range(0, count, CHUNK_FRAMES):
        stop = min(start + CHUNK_FRAMES, count)
        bands, level[start:stop] = _band_levels(frames[start:stop])
        joined = np.concatenate([before if start else np.repeat(bands[:1], LAG, 0), bands])
        flux[start:stop] = _growth(joined)
        before = joined[-LAG:]
    return flux, level


def _band_levels(frames: Samples) -> tuple[npt.NDArray[np.float32], Floats]:
    window = np.hanning(WINDOW).astype(np.float32)
    magnitude = np.abs(rfft(frames * window, axis=1)).astype(np.float32)
    middle = frames[:, WINDOW // 4 : 3 * WINDOW // 4]
    power = np.einsum("ij,ij->i", middle, middle) / middle.shape[1]
    return np.log1p(20.0 * (magnitude @ _bands())), 10.0 * np.log10(power + 1e-10)


def _growth(bands: npt.NDArray[np.float32]) -> Floats:
    """Mean growth of each band against the loudest of itself and its neighbours LAG frames ago."""
    old = bands[:-LAG]
    held = old.copy()
    held[:, 1:] = np.maximum(held[:, 1:], old[:, :-1])
    held[:, :-1] = np.maximum(held[:, :-1], old[:, 1:])
    return np.asarray(np.maximum(bands[LAG:] - held, 0.0).mean(axis=1), dtype=np.float64)
