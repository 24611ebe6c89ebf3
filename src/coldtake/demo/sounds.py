"""Takes of the example: a passage sounded by our own synthesis as a person might play it.

The faults are put into the schedule before it sounds, so that what the listener finds is real:
it is told nothing of them.
"""

from collections.abc import Sequence
from dataclasses import replace
from enum import StrEnum
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from coldtake.listening.sources.sound import Sound, to_flac
from coldtake.music.passage import Passage
from coldtake.music.playback.sounding import SoundedNote, schedule
from coldtake.music.playback.synth import render

RATE = 44100  # Hz
JITTER_MS = 8.0  # standard deviation of onsets; skilled players lie at 5 to 15 ms
LEAD_IN_S = 0.7  # the time between touching the button and the first note
ROOM_DB = -62.0  # level of the quiet room, dB below full scale
HISS_DB = -26.0  # level of the fan that drowns the take that cannot be told
LATE_S = 0.24  # how late the late entry is


class TakeFault(StrEnum):
    """What is wrong with a take of the example."""

    NONE = "none"
    WRONG_NOTE = "wrong note"
    LATE_ENTRY = "late entry"
    NOISE = "noise"


def _room(samples: int, level_db: float, rng: np.random.Generator) -> NDArray[np.float32]:
    """Return pink noise above 60 Hz at a level [dB full scale, RMS]."""
    spectrum = np.fft.rfft(rng.standard_normal(samples))
    frequency_hz = np.fft.rfftfreq(samples, 1.0 / RATE)
    spectrum *= np.where(frequency_hz < 60.0, 0.0, 1.0 / np.sqrt(np.maximum(frequency_hz, 60.0)))
    noise = np.fft.irfft(spectrum, samples)
    noise *= 10 ** (level_db / 20) / np.sqrt(np.mean(noise**2))
    return noise.astype(np.float32)


def _humanly(notes: Sequence[SoundedNote], rng: np.random.Generator) -> list[SoundedNote]:
    """Move every onset by a little chance and end each note by the next one's onset."""
    moved = [
        replace(n, onset_s=max(0.0, n.onset_s + rng.normal(0, JITTER_MS / 1000))) for n in notes
    ]
    ends = [b.onset_s for _, b in pairwise(moved)] + [float("inf")]
    return [
        replace(n, duration_s=max(0.03, min(n.duration_s, end - n.onset_s)))
        for n, end in zip(moved, ends, strict=True)
    ]


def _after_rest(notes: Sequence[SoundedNote]) -> int:
    """Index of the first note that follows a rest inside the passage, else the middle one."""
    gaps = [b.onset_s - (a.onset_s + a.duration_s) for a, b in pairwise(notes)]
    return next((i + 1 for i, gap in enumerate(gaps) if gap > 0.1), len(notes) // 2)


def fault_index(notes: Sequence[SoundedNote], fault: TakeFault) -> int | None:
    """Say which note a fault falls on, counted from 0; None for faults of the whole take."""
    if fault is TakeFault.WRONG_NOTE:
        return 2 * len(notes) // 3
    return _after_rest(notes) if fault is TakeFault.LATE_ENTRY else None


def _spoiled(notes: list[SoundedNote], fault: TakeFault) -> list[SoundedNote]:
    at = fault_index(notes, fault)
    if at is None:
        return notes
    note = notes[at]
    if fault is TakeFault.WRONG_NOTE:
        notes[at] = replace(note, pitch=note.pitch + 1)
    else:
        late = min(LATE_S, note.duration_s * 0.6)
        notes[at] = replace(note, onset_s=note.onset_s + late, duration_s=note.duration_s - late)
    return notes


def take_sound(
    passage: Passage, bpm: float, fault: TakeFault, *, seed: Sequence[int], a4_hz: float = 440.0
) -> bytes:
    """Play a passage at a tempo [quarters per minute] with one fault; return FLAC."""
    rng = np.random.default_rng(list(seed))
    notes = _spoiled(_humanly(schedule(passage, bpm), rng), fault)
    length = max(n.onset_s + n.duration_s for n in notes) + 2 * LEAD_IN_S
    if fault is TakeFault.NOISE:
        return to_flac(Sound(_room(int(length * RATE), HISS_DB, rng), RATE))
    tones = render(notes, rate=RATE, voice="clarinet", a4_hz=a4_hz)
    start = int(LEAD_IN_S * RATE)
    samples = _room(start + len(tones) + start, ROOM_DB, rng)
    samples[start : start + len(tones)] += tones
    return to_flac(Sound(np.clip(samples, -1.0, 1.0), RATE))
