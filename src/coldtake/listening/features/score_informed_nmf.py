"""How much of each written pitch sounds at every moment, by that pitch's own spectrum in this take.

What a pitch looks like on this instrument, in this room, is learned from the take itself: the mean
spectrum of the notes that a first look found right. Every spectrum of the recording is then
explained as a sum of these, in amounts that are not negative; so the envelope of a new note is seen
under the ringing rest of the one before, although both overlap. Non-negative least squares by
multiplicative steps: D. Lee and H. Seung, "Algorithms for non-negative matrix factorization", NIPS
2000; spectra told from the score: S. Ewert and M. Mueller, "Using score-informed constraints for
NMF-based source separation", ICASSP 2012.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.fft import rfft

from coldtake.listening.features.audio_features import RATE, Floats, Samples

WINDOW = 1024  # samples, 64 ms
HOP = 64  # samples, 4 ms
STEP_S = HOP / RATE
STEP_RISE_S = 0.235 * WINDOW / RATE  # 10-50 % rise that a sudden step shows through the window
MOST_STRETCHES = 8  # of one pitch that are looked at
ROUNDS = 12
FARTHEST = 7  # semitones over which a spectrum may be moved
HIGHEST_BIN = 448  # 7 kHz
Single = npt.NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Stretch:
    """A stretch in which one written pitch sounds alone: pitch [MIDI number], start, stop [s]."""

    pitch: int
    start_s: float
    stop_s: float


@dataclass(frozen=True, eq=False)
class PitchActivations:
    """Spectra of each pitch: square roots of magnitudes, shape (pitches, bins), of length 1."""

    pitches: tuple[int, ...]
    shapes: Single

    def envelope(self, samples: Samples, pitch: int, first_s: float, last_s: float) -> Floats:
        """Magnitude of what sounds at one pitch, every STEP_S from first_s on."""
        return self.envelopes(samples, pitch, first_s, last_s)[0]

    def envelopes(
        self, samples: Samples, pitch: int, first_s: float, last_s: float
    ) -> tuple[Floats, Floats]:
        """Magnitude of what sounds at one pitch and of all that sounds, every STEP_S."""
        spectra = _roots(samples, round(first_s / STEP_S), round(last_s / STEP_S))
        amounts = _amounts(spectra, self.shapes)
        column = self.pitches.index(pitch)
        own = (amounts[:, column, None] * self.shapes[column]) ** 4
        whole = (amounts**4) @ (self.shapes**4)
        energy = spectra**4
        one = np.sqrt((own / (whole + 1e-20) * energy).sum(axis=1), dtype=np.float64)
        return one, np.sqrt(energy.sum(axis=1), dtype=np.float64)


def learn(
    samples: Samples, stretches: Sequence[Stretch], wanted: Iterable[int]
) -> PitchActivations | None:
    """Learn the pitches' spectra from stretches in which each sounds alone.

    A wanted pitch that was found nowhere gets the spectrum of the nearest one that was, moved.
    """
    known = sorted({s.pitch for s in stretches})
    if not known:
        return None
    shapes = {p: _shape(samples, [s for s in stretches if s.pitch == p]) for p in known}
    for pitch in wanted:
        nearest = min(known, key=lambda p: abs(p - pitch))
        if pitch not in shapes and abs(nearest - pitch) <= FARTHEST:
            shapes[pitch] = _moved(shapes[nearest], pitch - nearest)
    pitches = tuple(sorted(shapes))
    return PitchActivations(pitches, np.stack([shapes[p] for p in pitches]))


def _moved(shape: Single, semitones: int) -> Single:
    bins = np.arange(HIGHEST_BIN)
    moved = np.interp(bins / 2.0 ** (semitones / 12.0), bins, shape, right=0.0).astype(np.float32)
    return np.asarray(moved / (np.linalg.norm(moved) + 1e-9), dtype=np.float32)


def _roots(samples: Samples, first: int, last: int, step: int = 1) -> Single:
    """Square roots of magnitude spectra at steps first..last, shape (frames, bins)."""
    low, high = first * HOP - WINDOW // 2, (last - 1) * HOP + WINDOW // 2
    cut = np.pad(samples[max(low, 0) : max(high, 0)], (max(-low, 0), max(high - len(samples), 0)))
    frames = np.lib.stride_tricks.sliding_window_view(cut, WINDOW)[:: HOP * step]
    window = np.hanning(WINDOW).astype(np.float32)
    found = rfft(frames * window, axis=1)[:, :HIGHEST_BIN]
    return np.asarray((found.real**2 + found.imag**2) ** 0.25, dtype=np.float32)


def _shape(samples: Samples, stretches: Sequence[Stretch]) -> Single:
    """Mean spectrum of the inner part of the stretches, of length 1."""
    total = np.zeros(HIGHEST_BIN, np.float32)
    for s in stretches[:MOST_STRETCHES]:
        room = s.stop_s - s.start_s
        first = round((s.start_s + 0.35 * room) / STEP_S)
        last = max(round((s.stop_s - 0.2 * room) / STEP_S), first + 1)
        total += _roots(samples, first, min(last, first + 40), 4).mean(axis=0)
    return total / (np.linalg.norm(total) + 1e-9)


def _amounts(spectra: Single, shapes: Single) -> Single:
    """Square roots of each pitch's amount, shape (frames, pitches)."""
    seen, alike = spectra @ shapes.T, shapes @ shapes.T
    amount = seen.copy()
    for _ in range(ROUNDS):
        amount *= seen / (amount @ alike + 1e-9)
    return amount
