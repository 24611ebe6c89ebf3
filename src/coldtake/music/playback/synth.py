"""Simple additive synthesis of our own: to hear a passage, and for the demo's takes.

Each voice is a set of harmonic strengths with an envelope: blown voices swell within some ten
milliseconds and end inside their written length (so that repeated notes part); struck and plucked
voices die away, high partials first. Every envelope starts and ends at zero, so nothing clicks.
Deterministic: the same schedule gives the same samples.

Relative strengths follow the textbook picture: odd harmonics prevail in the clarinet's low
register, the flute is nearly a sine, struck strings are slightly inharmonic (Fletcher and Rossing,
"The Physics of Musical Instruments", 2nd ed. 1998, New York, chapters 12, 15 and 16).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coldtake.music.playback.sounding import SoundedNote
from coldtake.units import A4_HZ, pitch_to_hz

Samples = NDArray[np.float32]
TAIL_S = 0.4  # silence after the last note, so that nothing is cut off
_PEAK = 0.8
_LONGEST_S = 3600.0


@dataclass(frozen=True, slots=True)
class SynthVoice:
    """How one instrument sounds.

    strengths : of harmonics 1, 2, ...; attack_s, release_s : rise and fall of the envelope
    decay_s : time to fall to 1/e at A4 (inf: blown); brightness_decay : extra decay per harmonic
    stretch : inharmonicity B of f_n = n f sqrt(1 + B n^2); breath : share of noise
    vibrato_cents : depth at 5 Hz, fading in after 0.3 s
    """

    strengths: tuple[float, ...]
    attack_s: float
    release_s: float
    decay_s: float = float("inf")
    brightness_decay: float = 0.0
    stretch: float = 0.0
    breath: float = 0.0
    vibrato_cents: float = 0.0


VOICES: dict[str, SynthVoice] = {
    "clarinet": SynthVoice(
        (1.0, 0.04, 0.62, 0.06, 0.36, 0.09, 0.2, 0.1, 0.12, 0.05, 0.06, 0.03), 0.022, 0.03
    ),
    "flute": SynthVoice(
        (1.0, 0.34, 0.13, 0.05, 0.02, 0.01), 0.035, 0.04, breath=0.02, vibrato_cents=7
    ),
    "trumpet": SynthVoice(
        (0.6, 0.85, 1.0, 0.8, 0.6, 0.42, 0.3, 0.2, 0.14, 0.09, 0.06, 0.04), 0.018, 0.03
    ),
    "violin": SynthVoice(
        (1.0, 0.62, 0.5, 0.4, 0.3, 0.2, 0.2, 0.14, 0.1, 0.08, 0.06, 0.05),
        0.045,
        0.05,
        vibrato_cents=10,
    ),
    "piano": SynthVoice(
        (1.0, 0.6, 0.36, 0.26, 0.16, 0.11, 0.08, 0.05, 0.04, 0.03),
        0.004,
        0.09,
        decay_s=1.1,
        brightness_decay=0.35,
        stretch=4e-4,
    ),
    "plucked": SynthVoice(
        (1.0, 0.7, 0.5, 0.36, 0.28, 0.2, 0.15, 0.1, 0.08),
        0.003,
        0.06,
        decay_s=0.7,
        brightness_decay=0.6,
        stretch=5e-5,
    ),
}


def render(
    schedule: Sequence[SoundedNote],
    *,
    rate: int = 44_100,
    voice: str = "clarinet",
    a4_hz: float = A4_HZ,
) -> Samples:
    """Sound of a schedule: float32 mono in [-1, 1], as long as the notes plus TAIL_S.

    rate : 8000 to 192000 [Hz]; voice : a name of VOICES; a4_hz > 0; pitches may be fractional
    """
    _require(schedule, rate, voice, a4_hz)
    end_s = max((n.onset_s + n.duration_s for n in schedule), default=0.0)
    total = np.zeros(round((end_s + TAIL_S) * rate), dtype=np.float64)
    for note in schedule:
        sound = _note(VOICES[voice], note, rate, a4_hz)
        start = round(note.onset_s * rate)
        room = total[start : start + sound.size]
        room += sound[: room.size]
    peak = float(np.max(np.abs(total), initial=0.0))
    if peak > 0:
        total *= _PEAK / max(peak, _PEAK)
    return total.astype(np.float32)


def _require(schedule: Sequence[SoundedNote], rate: int, voice: str, a4_hz: float) -> None:
    if voice not in VOICES:
        raise ValueError(f"there is no voice {voice!r}; choose one of {', '.join(VOICES)}")
    if not 8_000 <= rate <= 192_000 or not a4_hz > 0:
        raise ValueError(f"rate {rate} Hz must be 8000 to 192000 and A4 {a4_hz} Hz above 0")
    if any(n.onset_s < 0 or n.onset_s + n.duration_s > _LONGEST_S for n in schedule):
        raise ValueError(f"notes must lie between 0 and {_LONGEST_S:.0f} seconds")


def _note(voice: SynthVoice, note: SoundedNote, rate: int, a4_hz: float) -> NDArray[np.float64]:
    """One note at a level at which a single line stays below the peak."""
    blown = np.isinf(voice.decay_s)
    length_s = note.duration_s if blown else note.duration_s + voice.release_s
    time_s = np.arange(max(round(length_s * rate), 1)) / rate
    base_hz = pitch_to_hz(note.pitch, a4_hz)
    phase = 2 * np.pi * base_hz * _warped(voice, time_s)
    sound = np.zeros(time_s.size)
    for index, strength in enumerate(voice.strengths):
        n = index + 1
        stretched = n * float(np.sqrt(1 + voice.stretch * n * n))
        if stretched * base_hz < 0.45 * rate:
            sound += strength * np.sin(stretched * phase) * _decay(voice, n, base_hz, time_s)
    sound /= sum(voice.strengths) * 0.75
    if voice.breath:
        sound += voice.breath * np.random.default_rng(1).standard_normal(time_s.size)
    return 0.6 * sound * _envelope(voice, time_s, length_s)


def _warped(voice: SynthVoice, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Time as the phase sees it: vibrato is a slow swing of it."""
    if not voice.vibrato_cents:
        return time_s
    rate_hz = 5.0
    depth = np.log(2) * voice.vibrato_cents / 1200 / (2 * np.pi * rate_hz)
    fade = np.clip((time_s - 0.3) / 0.3, 0, 1)
    return np.asarray(time_s - depth * fade * np.cos(2 * np.pi * rate_hz * time_s))


def _decay(
    voice: SynthVoice, n: int, base_hz: float, time_s: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Dying away of one partial; low notes ring longer."""
    if np.isinf(voice.decay_s):
        return np.ones(1)
    own_s = voice.decay_s * (A4_HZ / base_hz) ** 0.6 / (1 + voice.brightness_decay * (n - 1))
    return np.asarray(np.exp(-time_s / own_s))


def _envelope(
    voice: SynthVoice, time_s: NDArray[np.float64], length_s: float
) -> NDArray[np.float64]:
    """Half-cosine rise and fall, zero at both ends; short notes get shorter ones."""
    rise_s, fall_s = min(voice.attack_s, length_s * 0.3), min(voice.release_s, length_s * 0.3)
    rise = np.clip(time_s / rise_s, 0, 1) if rise_s > 0 else np.zeros(time_s.size)
    last_s = float(time_s[-1])
    fall = np.clip((last_s - time_s) / fall_s, 0, 1) if fall_s > 0 else np.zeros(time_s.size)
    return np.asarray(0.25 * (1 - np.cos(np.pi * rise)) * (1 - np.cos(np.pi * fall)))
