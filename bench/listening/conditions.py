"""What rooms, microphones and clicks do to a take."""

import numpy as np
from band import RATE
from scipy.signal import butter, fftconvolve, sosfilt

CONDITIONS = ("clean", "noise", "click", "telephone", "room")


def apply(name: str, sound: np.ndarray, seed: int, bpm: float) -> np.ndarray:
    """The take under a condition; levels are relative to the take's own RMS while it sounds."""
    rng = np.random.default_rng(seed + 77)
    match name:
        case "noise":
            return sound + pink(len(sound), rng) * _rms(sound) * 10 ** (-20 / 20)
        case "click":
            clicks = click_sound(len(sound), bpm, float(rng.uniform(0, 0.5)))
            return sound + clicks * np.abs(sound).max() * 10 ** (-20 / 20)
        case "telephone":
            sos = butter(4, [300, 3400], "bandpass", fs=RATE, output="sos")
            return np.asarray(sosfilt(sos, sound), dtype=np.float32)
        case "room":
            return _in_room(sound, 0.6, rng)
    return sound


def _rms(sound: np.ndarray) -> float:
    loud = sound[np.abs(sound) > 0.02 * np.abs(sound).max()]
    return float(np.sqrt(np.mean(loud**2)))


def pink(n: int, rng: np.random.Generator) -> np.ndarray:
    spectrum = np.fft.rfft(rng.normal(size=n))
    spectrum /= np.sqrt(np.maximum(np.arange(len(spectrum)), 1.0))
    noise = np.fft.irfft(spectrum, n)
    return (noise / noise.std()).astype(np.float32)


def click_sound(n: int, bpm: float, first_s: float) -> np.ndarray:
    out = np.zeros(n, np.float32)
    t = np.arange(int(0.03 * RATE)) / RATE
    click = (np.sin(2 * np.pi * 1500 * t) * np.exp(-t / 0.006)).astype(np.float32)
    for k in range(int((n / RATE - first_s) * bpm / 60.0)):
        at = int((first_s + k * 60.0 / bpm) * RATE)
        out[at : at + len(click)] += click[: max(0, n - at)]
    return out


def _in_room(sound: np.ndarray, rt60_s: float, rng: np.random.Generator) -> np.ndarray:
    """Exponentially decaying noise after the direct sound; direct-to-reverberant ratio 3 dB."""
    n = int(rt60_s * 1.2 * RATE)
    tail = rng.normal(size=n) * 10 ** (-3.0 * np.arange(n) / RATE / rt60_s)
    tail[: int(0.004 * RATE)] = 0.0
    tail *= 10 ** (-3 / 20) / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    return np.asarray(fftconvolve(sound, tail)[: len(sound)], dtype=np.float32)
