"""Sound to a spectrum with pitch as its axis: three bins a semitone, two views of each frame.

One frame every 256 samples at 22.05 kHz (11.6 ms), centred on its time. Bin b lies at MIDI number
21 + (b - 1) / 3, so the middle one of key k's three bins (k = 0 for A0) is 3 k + 1. Each bin is the
signal against a windowed tone of its own frequency, taken in the spectrum of one long frame
(J. C. Brown and M. S. Puckette, "An efficient algorithm for the calculation of a constant Q
transform", JASA 92, 1992). The fine view has windows of 34 periods, which tells semitones apart;
the quick view of 8.5 periods, which tells when. Both are bounded, so that deep tones do not blur
time without end and high ones keep some breadth.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from coldtake.listening.sources.sound import Sound

if TYPE_CHECKING:
    from scipy.sparse import csr_array

Singles = npt.NDArray[np.float32]

RATE = 22_050  # Hz
HOP = 256  # samples
STEP_S = HOP / RATE
FRAME = 8192  # samples, the longest window
LOWEST_KEY, KEYS = 21, 88  # MIDI number of the lowest key; keys up to C8 (108)
BINS = 312  # up to MIDI number 124.7, 10.97 kHz
FLOOR_DB, RANGE_DB = -90.0, 45.0
LOUDEST_DB = -14.0  # level to which the loudest tenth of a second is brought
CHUNK = 128  # frames
TUNED_BY = 30.0 / RANGE_DB  # peaks within so many dB of the loudest tell the tuning
TUNED_FROM, TUNED_TO, FEW_PEAKS = 72, 216, 20  # bins from A2 to A6
NEGLIGIBLE = 0.004  # of a kernel's largest value


@dataclass(frozen=True)
class View:
    """Windows of so many periods, at least and at most so many samples."""

    periods: float
    least: int
    most: int


FINE, QUICK = View(34.0, 512, FRAME), View(8.5, 384, 2048)


def bin_hz() -> npt.NDArray[np.float64]:
    """Frequency of each bin [Hz]."""
    midi = LOWEST_KEY + (np.arange(BINS) - 1) / 3.0
    return np.asarray(440.0 * 2.0 ** ((midi - 69.0) / 12.0))


@lru_cache(maxsize=4)
def kernels(tuning_cents: float = 0.0) -> "csr_array":
    """Both views' tones as spectra, a sparse array of shape (2 * BINS, FRAME // 2 + 1), real.

    A frame's middle stands at its start here: every other value has its sign turned for that.
    """
    from scipy.sparse import csr_array

    rows, columns, values = [], [], []
    for v, view in enumerate((FINE, QUICK)):
        for b, hz in enumerate(bin_hz() * 2.0 ** (tuning_cents / 1200.0)):
            at, kernel = _kernel(float(hz), view)
            rows.append(np.full(len(at), v * BINS + b))
            columns.append(at)
            values.append(kernel)
    where = (np.concatenate(rows), np.concatenate(columns))
    return csr_array((np.concatenate(values), where), shape=(2 * BINS, FRAME // 2 + 1))


def _kernel(hz: float, view: View) -> tuple[npt.NDArray[np.int64], Singles]:
    """A Hann window's transform around a tone: FFT bins, and values that are not negligible."""
    length = int(np.clip(view.periods * RATE / hz, view.least, view.most)) // 2 * 2
    middle, reach = hz / RATE * FRAME, 8.0 * FRAME / length
    at = np.arange(max(int(middle - reach), 0), min(int(middle + reach) + 2, FRAME // 2 + 1))
    x = at / FRAME - hz / RATE
    lobe = 0.5 * _dirichlet(x, length)
    lobe += 0.25 * (_dirichlet(x - 1.0 / length, length) + _dirichlet(x + 1.0 / length, length))
    lobe *= 2.0 / (0.5 * length) / FRAME
    keep = np.abs(lobe) >= NEGLIGIBLE * np.abs(lobe).max()
    turned = np.where(at % 2 == 0, 1.0, -1.0)
    return at[keep], np.asarray((lobe * turned)[keep], np.float32)


def _dirichlet(x: npt.NDArray[np.float64], length: int) -> npt.NDArray[np.float64]:
    """Sum of exp(-2 pi i x n) over n from -length/2 to length/2."""
    bottom = np.sin(np.pi * x)
    at_zero = np.abs(bottom) < 1e-12
    ratio = np.sin(np.pi * (length + 1) * x) / np.where(at_zero, 1.0, bottom)
    return np.where(at_zero, length + 1.0, ratio)


def prepared(sound: Sound) -> Singles:
    """Samples at RATE, brought to one level."""
    samples = sound.at(RATE)
    tenth = RATE // 10
    whole = samples[: len(samples) // tenth * tenth].reshape(-1, tenth)
    loudest = float(np.sqrt(np.square(whole).mean(axis=1)).max(initial=0.0))
    gain = 10 ** (LOUDEST_DB / 20.0) / max(loudest, 1e-5)
    return np.asarray(samples * np.float32(gain), np.float32)


def spectrum(samples: Singles, tuning_cents: float = 0.0) -> Singles:
    """Both views of every frame, shape (2, frames, BINS): 0 at -90 dB, 2 at full scale."""
    from scipy.fft import rfft

    count = len(samples) // HOP + 1
    padded = np.pad(samples, (FRAME // 2, FRAME // 2 + HOP))
    frames = np.lib.stride_tricks.sliding_window_view(padded, FRAME)[::HOP][:count]
    out = np.empty((2, count, BINS), np.float32)
    kernel = kernels(tuning_cents)
    for start in range(0, count, CHUNK):
        turned = np.ascontiguousarray(rfft(frames[start : start + CHUNK], axis=1).T)
        parts = kernel @ turned.view(np.float32)
        size = np.hypot(parts[:, 0::2], parts[:, 1::2])
        both = compressed(size).reshape(2, BINS, -1)
        out[:, start : start + CHUNK] = both.transpose(0, 2, 1)
    return out


def tuning_of(view: Singles) -> float:
    """How far a take stands from A = 440 Hz [cents, within 50], from the fine view's peaks."""
    inner = view[:, 1:-1]
    peak = (inner > view[:, :-2]) & (inner >= view[:, 2:]) & (inner > inner.max() - TUNED_BY)
    peak[:, :TUNED_FROM] = peak[:, TUNED_TO:] = False
    frame, at = np.nonzero(peak)
    if len(at) < FEW_PEAKS:
        return 0.0
    left, middle, right = (view[frame, at + k] for k in range(3))
    off = 0.5 * (left - right) / np.minimum(left - 2 * middle + right, -1e-6)
    # bins stand a third of a semitone apart; the middle one of each key is the tempered pitch
    semitones = (at + 1 + off - 1.0) / 3.0
    turn = (np.exp(2j * np.pi * semitones) * middle).mean() / middle.mean()
    return float(100.0 * np.angle(turn) / (2 * np.pi)) if abs(turn) > 0.2 else 0.0


def compressed(magnitude: Singles) -> Singles:
    """Decibels above the floor, scaled: 0 at -90 dB, 2 at 0 dB."""
    level = 20.0 * np.log10(np.maximum(magnitude, 1e-6)) - FLOOR_DB
    return np.asarray(np.maximum(level, 0.0) / RANGE_DB, np.float32)
