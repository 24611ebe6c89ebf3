"""Pitch of one stretch of sound: its mean over vibrato, and octaves told apart by odd partials."""

from dataclasses import dataclass

import numpy as np

from coldtake.listening.hearing import PITCH_STEP_S, RATE, Floats, Hearing
from coldtake.units import pitch_to_hz

SETTLE_S = 0.045  # the pitch detector's frames this near to an onset still hear the note before
ODD = (1, 3, 5, 7)


@dataclass(frozen=True)
class Tone:
    """A tone.

    pitch : fractional MIDI number, mean over whole vibrato periods; None where no tone is heard
    spread : semitones (half the middle 80 %); voiced : share of frames with a tone; level_db
    frames : how many frames it rests on
    """

    pitch: float | None
    spread: float
    voiced: float
    level_db: float
    frames: int


def tone_between(
    hearing: Hearing, start_s: float, stop_s: float, around: float | None = None
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
    low, high = np.percentile(near, [10, 90])
    return Tone(
        _mean(near, middle), float(high - low) / 2, float(voiced.mean()), loudest, len(pitch)
    )


def _frames(start_s: float, stop_s: float, count: int) -> tuple[int, int]:
    room = stop_s - start_s
    first = start_s + min(SETTLE_S, 0.35 * room)
    last = stop_s - min(0.03, 0.2 * room)
    start = min(max(round(first / PITCH_STEP_S), 0), count)
    return start, min(max(round(last / PITCH_STEP_S), start + 1), count)


def _mean(near: Floats, middle: float) -> float:
    """Trimmed mean: equal to the median for a steady tone, the centre of a vibrato otherwise."""
    low, high = np.percentile(near, [10, 90])
    if high - low < 0.12:
        return middle
    kept = near[(near >= low - 0.1) & (near <= high + 0.1)]
    return float(kept.mean())


def lower_octave_sounds(
    hearing: Hearing, start_s: float, stop_s: float, low_pitch: float
) -> bool | None:
    """Whether the tone is at low_pitch rather than an octave above it.

    A tone has partials at 1, 3, 5 ... times its frequency; one an octave higher has none there.
    True when odd partials stand out, False when the sound is clear and they do not, None otherwise.
    """
    start, stop = round((start_s + 0.03) * RATE), round(min(stop_s, start_s + 0.4) * RATE)
    cut = hearing.samples[max(start, 0) : stop]
    if len(cut) < RATE * 0.06:
        return None
    size = 1 << 14
    spectrum = np.abs(np.fft.rfft(cut * np.hanning(len(cut)), size)) + 1e-9
    base = pitch_to_hz(low_pitch)
    reach = max(2.2 / len(cut) * RATE, 0.02 * base) * size / RATE
    odd = [_peak(spectrum, k * base * size / RATE, reach, base * size / RATE) for k in ODD]
    even = [
        _peak(spectrum, 2 * k * base * size / RATE, reach, base * size / RATE) for k in (1, 2, 3)
    ]
    loudest = max(height for height, _ in (*odd, *even))
    if loudest <= 0:
        return None
    standing = [h for h, clear in odd if clear > 4.0 and h > loudest * 0.03]
    if len(standing) >= 2 or (standing and standing[0] > 0.25 * loudest):
        return True
    return False if all(h < 0.02 * loudest or clear < 2.5 for h, clear in odd) else None


def _peak(spectrum: Floats, at: float, reach: float, spacing: float) -> tuple[float, float]:
    """Height near a bin, and how far it stands out of the valley on both sides (ratio)."""
    low, high = int(at - reach), int(at + reach) + 1
    if low < 1 or high >= len(spectrum):
        return 0.0, 0.0
    height = float(spectrum[low:high].max())
    left = spectrum[max(int(at - 0.5 * spacing), 1) : low]
    right = spectrum[high : int(at + 0.5 * spacing) + 1]
    floor = [float(np.median(side)) for side in (left, right) if len(side) > 2]
    return height, height / max(floor) if floor else 0.0
