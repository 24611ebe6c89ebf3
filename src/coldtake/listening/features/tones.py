"""Pitch of one stretch of sound: its mean over vibrato, and octaves told apart by odd partials."""

from dataclasses import dataclass

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
from coldtake.units import pitch_to_hz

SETTLE_S = 0.045  # the pitch detector's frames this near to an onset still hear the note before
ODD = (1, 3, 5, 7)
PHASE_STEP = 64  # samples
AGREEING = 0.1  # semitones between partials of one tone
LASTING = 0.6  # a partial that fell below this share of what it was only rings on
DETECTOR_CENTS = 15.0  # half width (95 %) of the pitch detector's reading of one note
LEAST_CENTS, FEW_CENTS, FEW = 2.0, 5.0, 2.0  # of an exact reading; what few readings may scatter
OVERLAPPING = 0.016  # seconds from reading to reading
Ints = npt.NDArray[np.intp]


@dataclass(frozen=True)
class Tone:
    """A tone.

    pitch : fractional MIDI number, mean over whole vibrato periods; None where no tone is heard
    spread : semitones (half the middle 80 %); voiced : share of frames with a tone; level_db
    frames : how many frames it rests on
    error_cents : half width (95 %) within which its mean pitch is known
    """

    pitch: float | None
    spread: float
    voiced: float
    level_db: float
    frames: int
    error_cents: float = DETECTOR_CENTS


def tone_between(
    hearing: AudioFeatures, start_s: float, stop_s: float, around: float | None = None
) -> Tone:
    """What tone sounds between two moments (the onset's own moment is left out).

    around : only frames within half a semitone of this pitch count as toned
    """
    start, stop = _frames(start_s, stop_s, len(hearing.pitch))
    pitch, voiced = hearing.pitch[start:stop], hearing.voiced[start:stop]
    if around is not None:
        voiced = voiced & (np.abs(pitch - around) < 0.55)
    level = hearing.level_db[start:stop]
    loudest = float(level.max()) if len(level) else -120.0
    if not voiced.any():
        return Tone(None, 0.0, 0.0, loudest, len(pitch))
    heard = pitch[voiced]
    middle = float(np.sort(heard)[len(heard) // 2])  # one of them, never between two notes
    near = heard[np.abs(heard - middle) < 0.8]
    low, high = _tenths(near)
    return Tone(
        _mean(near, middle), float(high - low) / 2, float(voiced.mean()), loudest, len(pitch)
    )


def _tenths(values: Floats) -> tuple[float, float]:
    """First and last decile, interpolated; NumPy's own costs more than all around it."""
    ordered = np.sort(values)
    at = 0.1 * (len(ordered) - 1)
    k, part = int(at), at - int(at)
    if len(ordered) == 1:
        return float(ordered[0]), float(ordered[0])
    low = ordered[k] + part * (ordered[k + 1] - ordered[k])
    high = ordered[-1 - k] - part * (ordered[-1 - k] - ordered[-2 - k])
    return float(low), float(high)


def _frames(start_s: float, stop_s: float, count: int) -> tuple[int, int]:
    room = stop_s - start_s
    first = start_s + min(SETTLE_S, 0.35 * room)
    last = stop_s - min(0.03, 0.2 * room)
    start = min(max(round(first / PITCH_STEP_S), 0), count)
    return start, min(max(round(last / PITCH_STEP_S), start + 1), count)


def _mean(near: Floats, middle: float) -> float:
    """Trimmed mean: equal to the median for a steady tone, the centre of a vibrato otherwise."""
    low, high = _tenths(near)
    if high - low < 0.12:
        return middle
    kept = near[(near >= low - 0.1) & (near <= high + 0.1)]
    return float(kept.mean())


def exact_pitch(
    hearing: AudioFeatures, start_s: float, stop_s: float, rough: float
) -> tuple[float, float] | None:
    """Mean pitch of a tone from its partials' instantaneous frequencies [MIDI number], and error.

    The detector's reading may err by some cents; the phase advance of each partial between two
    spectra 4 ms apart gives its frequency within a fraction of a cent (J. Flanagan and R. Golden,
    "Phase vocoder", Bell Syst. Tech. J. 45, 1966). None where no partial is steady enough.

    The error [cents, half width of 95 %] grows with the scatter of the readings, and where the
    detector says otherwise: a short tone's window hears its neighbours too.
    """
    window = 1024 if rough >= 57.0 else 2048
    half = window / 2 / RATE
    first, last = start_s + min(SETTLE_S, 0.3 * (stop_s - start_s)), stop_s - 0.02
    centres = np.arange(
        first + 0.6 * half, max(last - 0.6 * half, first + 0.61 * half), OVERLAPPING
    )
    at = np.round(centres * RATE).astype(int)
    at = at[(at > window) & (at < len(hearing.samples) - window)]
    if not len(at):
        return None
    found = _by_phase(hearing.samples, at, window, pitch_to_hz(rough))
    near = found[np.abs(found) < 0.6]
    if len(near) < 1:
        return None
    pitch = rough + _mean(near, float(np.median(near)))
    return pitch, _cents_error(near, 100.0 * abs(pitch - rough), window)


def _cents_error(readings: Floats, apart_cents: float, window: int) -> float:
    """Half width (95 %) of the mean of some readings [semitones], apart from the detector's."""
    count = len(readings)
    apart = 1e4 * float(readings.var()) * count + FEW_CENTS**2 * FEW
    independent = max(count * OVERLAPPING * RATE / window, 1.0)
    return LEAST_CENTS + apart_cents + 2.0 * float(np.sqrt(apart / (count + FEW) / independent))


def _by_phase(samples: Samples, at: Ints, window: int, base_hz: float) -> Floats:
    """Semitones from base_hz at each place, from the loud partials' phase advance."""
    shape = np.hanning(window).astype(np.float32)
    reach = np.arange(-(window // 2), window // 2)
    one = rfft(samples[at[:, None] + reach] * shape, axis=1)
    two = rfft(samples[at[:, None] + PHASE_STEP + reach] * shape, axis=1)
    numbers = np.arange(1, 7)
    numbers = numbers[numbers * base_hz < 0.45 * RATE]
    heights, frequencies = np.zeros((2, len(at), len(numbers)))
    rows = np.arange(len(at))
    for column, k in enumerate(numbers):
        centre = k * base_hz * window / RATE
        low = max(round(centre * 0.975), int(centre) - 1, 1)
        high = max(round(centre * 1.025), low + 2)
        peak = low + np.argmax(np.abs(one[:, low : high + 1]), axis=1)
        heights[:, column] = np.abs(one[rows, peak])
        expected = 2 * np.pi * peak * PHASE_STEP / window
        advance = np.angle(two[rows, peak] / (one[rows, peak] + 1e-20)) - expected
        advance = (advance + np.pi) % (2 * np.pi) - np.pi
        hz = (expected + advance) / (2 * np.pi) * RATE / PHASE_STEP
        frequencies[:, column] = 12.0 * np.log2(np.maximum(hz, 1.0) / (k * base_hz))
    weight = np.where(np.abs(frequencies) < 0.6, heights, 0.0)
    # One partial may be the last note's, or a thump; those that agree with the median are believed.
    middle = _middle(frequencies, weight)
    weight = np.where(np.abs(frequencies - middle[:, None]) < AGREEING, weight, 0.0) ** 2
    total = weight.sum(axis=1)
    return np.where(total > 0, (weight * frequencies).sum(axis=1) / (total + 1e-20), 9.0)


def _middle(values: Floats, weights: Floats) -> Floats:
    """Weighted median of each row."""
    order = np.argsort(values, axis=1)
    total = np.cumsum(np.take_along_axis(weights, order, axis=1), axis=1)
    at = np.argmax(total >= 0.5 * total[:, -1:], axis=1)
    rows = np.arange(len(values))
    return np.asarray(values[rows, order[rows, at]])


def lower_octave_sounds(
    hearing: AudioFeatures, start_s: float, stop_s: float, low_pitch: float
) -> bool | None:
    """Whether the tone is at low_pitch rather than an octave above it.

    A tone has partials at 1, 3, 5 ... times its frequency; one an octave higher has none there.
    True when odd partials stand out, False when the sound is clear and they do not, None otherwise.
    """
    size = 1 << 14
    settle_s = min(0.03, 0.25 * (stop_s - start_s))
    start, stop = round((start_s + settle_s) * RATE), round(min(stop_s, start_s + 0.4) * RATE)
    cut = hearing.samples[max(start, 0) : stop]
    if len(cut) < RATE * max(0.05, 4.0 / pitch_to_hz(low_pitch)):
        return None  # too short to part its partials
    spectrum = _spectrum(cut, size)
    ahead = hearing.samples[max(start - round(0.13 * RATE), 0) : max(start - round(0.04 * RATE), 0)]
    before = _spectrum(ahead, size) if len(ahead) > RATE * 0.06 else 0.0 * spectrum
    base = pitch_to_hz(low_pitch)
    reach = max(2.2 / len(cut) * RATE, 0.02 * base) * size / RATE
    odd = [_peak(spectrum, k * base * size / RATE, reach, base * size / RATE) for k in ODD]
    old = [_peak(before, k * base * size / RATE, reach, base * size / RATE)[0] for k in ODD]
    even = [
        _peak(spectrum, 2 * k * base * size / RATE, reach, base * size / RATE) for k in (1, 2, 3)
    ]
    loudest = max(height for height, _ in (*odd, *even))
    if loudest <= 0:
        return None
    # What only dies away since the note before is no part of this one.
    odd = [
        (h if h > LASTING * was else 0.0, clear) for (h, clear), was in zip(odd, old, strict=True)
    ]
    standing = [h for h, clear in odd if clear > 4.0 and h > loudest * 0.03]
    if len(standing) >= 2 or (standing and standing[0] > 0.25 * loudest):
        return True
    return False if all(h < 0.02 * loudest or clear < 2.5 for h, clear in odd) else None


def _spectrum(cut: Samples, size: int) -> Floats:
    """Magnitudes per sample of a stretch, so that stretches of other lengths compare."""
    window = np.hanning(len(cut))
    magnitude = np.abs(np.fft.rfft(cut * window, size))
    return np.asarray(magnitude / window.sum() + 1e-12, dtype=np.float64)


def _peak(spectrum: Floats, at: float, reach: float, spacing: float) -> tuple[float, float]:
    """Height near a bin, and how far it stands out of the valley on both sides (ratio)."""
    low, high = int(at - reach), int(at + reach) + 1
    if low < 1 or high >= len(spectrum):
        return 0.0, 0.0
    height = float(spectrum[low:high].max())
    left = spectrum[max(int(at - 0.5 * spacing), 1) : low]
    right = spectrum[high : int(at + 0.5 * spacing) + 1]
    floor = [float(np.median(side)) for side in (left, right) if len(side) > 2]
    return height, height / max(*floor, 1e-12) if floor else 0.0
