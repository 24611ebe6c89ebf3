"""Sounds that are not the passage: silence, noise, hum, a click alone, talk, another tune.

Talk is made here: pulses of a voice through moving formants, some four syllables a second (Fant,
"Acoustic Theory of Speech Production", 1960, for the idea; the values are guesses of plausible
speech). It says nothing, but a pitch detector hears it as it hears a counting player.
"""

from pathlib import Path

import numpy as np
import soundfile
from band import RATE
from conditions import click_sound, pink
from scipy.signal import lfilter

VOWELS = (
    (730, 1090, 2440),
    (270, 2290, 3010),
    (300, 870, 2240),
    (530, 1840, 2480),
    (570, 840, 2410),
)
SINGING = Path(__file__).parents[3] / "shared" / "data" / "vocadito" / "Audio"
KINDS = ("silence", "noise", "hum", "click alone", "talk", "singing", "another passage")


def talk(seconds: float, rng: np.random.Generator) -> np.ndarray:
    """Speech-like sound, float32 at RATE, peak 0.3."""
    parts, height = [], float(rng.uniform(95, 230))
    while sum(map(len, parts)) < seconds * RATE:
        parts += [_syllable(height, rng), np.zeros(int(rng.uniform(0.02, 0.15) * RATE))]
    sound = np.concatenate(parts)[: int(seconds * RATE)]
    return np.asarray(0.3 * sound / np.abs(sound).max(), dtype=np.float32)


def _syllable(height: float, rng: np.random.Generator) -> np.ndarray:
    n = int(rng.uniform(0.12, 0.3) * RATE)
    glide = height * np.linspace(rng.uniform(1.0, 1.25), rng.uniform(0.8, 1.0), n)
    phase = np.cumsum(glide) / RATE
    sound = np.diff(np.floor(phase), prepend=0.0) + rng.normal(0, 0.01, n)
    for formant in VOWELS[int(rng.integers(len(VOWELS)))]:
        radius = np.exp(-np.pi * 90.0 / RATE)
        turn = 2 * radius * np.cos(2 * np.pi * formant / RATE)
        sound = lfilter([1.0 - radius], [1.0, -turn, radius**2], sound)
    return np.asarray(sound * np.hanning(n) ** 0.5)


def sound_of(kind: str, seconds: float, rng: np.random.Generator) -> np.ndarray:
    """One of KINDS but "another passage", which the caller plays; float32 at RATE."""
    n = int(seconds * RATE)
    time = np.arange(n) / RATE
    match kind:
        case "silence":
            sound = rng.normal(0, 1e-4, n)
        case "noise":
            sound = 0.05 * pink(n, rng)
        case "hum":
            sound = sum(0.1 / k * np.sin(2 * np.pi * 50.0 * k * time) for k in (1, 2, 3, 4))
        case "click alone":
            sound = 0.3 * click_sound(n, float(rng.uniform(60, 132)), 0.3) + rng.normal(0, 1e-4, n)
        case "talk":
            sound = talk(seconds, rng)
        case _:
            sound = _singing(n, rng)
    return np.asarray(sound, dtype=np.float32)


def _singing(n: int, rng: np.random.Generator) -> np.ndarray:
    """Real singing of another tune (vocadito, Bittner et al. 2021, CC BY 4.0)."""
    files = sorted(SINGING.glob("*.wav"))
    sound, rate = soundfile.read(files[int(rng.integers(len(files)))], dtype="float32")
    mono = sound if sound.ndim == 1 else sound.mean(axis=1)
    step = np.arange(0, len(mono) - 1, rate / RATE)
    return np.interp(step, np.arange(len(mono)), mono)[:n]
