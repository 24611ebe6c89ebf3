"""Rhythms without pitches, played with known faults: claps, drums, muted strings, noise bursts.

The kit is the percussion of a General MIDI bank; a burst is noise that dies away, made here. Truth
is the time at which each sound, rendered alone, first reaches a fifth of its peak. From a seed.
"""

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from band import RATE, Played, synth
from passages import passage_of

from coldtake.music.passage import Passage

CLAP, KICK, SNARE, STICK, HAT = 39, 36, 38, 37, 42  # keys of General MIDI percussion
MUTED_GUITAR = 28  # programme, counted from 0
MAKERS = ("clap", "kick and snare", "stick", "muted guitar", "burst")
CELLS = (
    (1.0,), (0.5, 0.5), (0.25, 0.25, 0.5), (0.5, 0.25, 0.25), (0.75, 0.25), (1.5, 0.5), (2.0,),
    (1 / 3, 1 / 3, 1 / 3), (-0.5, 0.5), (0.5, 1.0, 0.5), (-1.0,), (0.25, 0.5, 0.25),
)  # fmt: skip


@dataclass
class RhythmTake:
    """A rendered rhythm; onsets_s by written note, None where left out."""

    sound: np.ndarray
    passage: Passage
    onsets_s: list[float | None]
    extras_s: list[float] = field(default_factory=list)
    displaced: set[int] = field(default_factory=set)
    bpm: float = 0.0
    first_s: float = 0.0


def rhythm_of(seed: int, bars: int = 4) -> Passage:
    """Cells one after another; a negative value is a rest."""
    rng = np.random.default_rng(seed)
    rows: list[tuple[int | None, float]] = []
    filled = 0.0
    while filled < 4.0 * bars:
        cell = CELLS[int(rng.integers(len(CELLS)))]
        if filled + sum(map(abs, cell)) <= 4.0 * bars:
            rows += [(60 if value > 0 else None, abs(value)) for value in cell]
            filled += sum(map(abs, cell))
    while rows[0][0] is None:
        rows.pop(0)
    bpm = float(rng.choice([60, 72, 84, 96, 108, 120]))
    return passage_of([*rows, (60, 1.0)], bpm=bpm, title=f"rhythm {seed}")


def play(
    bank: str, maker: str, seed: int, *, faults: tuple[str, ...] = (), swing: float = 1.0,
    passage: Passage | None = None,
) -> RhythmTake:  # fmt: skip
    """A human-like playing: jitter, drift, loud and soft; at most a few faults."""
    rng = np.random.default_rng(seed + 7)
    passage = passage or rhythm_of(seed)
    bpm = (passage.written_bpm or 90.0) * float(rng.uniform(0.85, 1.15))
    jitter, drift = float(rng.choice([0.005, 0.012, 0.02])), float(rng.uniform(-0.05, 0.05))
    length = passage.length_beats
    beats = np.array([_swung(n.onset_beats, swing) for n in passage.notes])
    clean = 60.0 / bpm * beats * (1.0 + drift * (beats / length - 0.5)) + rng.uniform(0.4, 1.2)
    times: list[float | None] = (clean + rng.normal(0, jitter, len(clean))).tolist()
    take = RhythmTake(np.zeros(0), passage, times, bpm=bpm, first_s=float(clean[0]))
    for fault in faults:
        _put(fault, take, clean, rng)
    strokes = sorted([t for t in take.onsets_s if t is not None] + take.extras_s)
    loud = np.clip(rng.normal(95, 12, len(strokes)), 55, 124).astype(int)
    take.sound, delays = _rendered(bank, maker, strokes, loud.tolist(), rng)
    late = dict(zip(strokes, delays, strict=True))
    take.onsets_s = [None if t is None else t + late[t] for t in take.onsets_s]
    take.extras_s = [t + late[t] for t in take.extras_s]
    return take


def _swung(beat: float, ratio: float) -> float:
    if ratio == 1.0 or abs(beat % 1.0 - 0.5) > 1e-6:
        return beat
    return float(np.floor(beat) + ratio / (1.0 + ratio))


def _put(fault: str, take: RhythmTake, clean: np.ndarray, rng: np.random.Generator) -> None:
    gaps = np.diff(clean)
    spots = [k for k in range(1, len(clean) - 1) if take.onsets_s[k] is not None
             and take.onsets_s[k - 1] is not None and take.onsets_s[k + 1] is not None
             and k not in take.displaced]  # fmt: skip
    k = int(rng.choice(spots))
    room = float(min(gaps[k - 1], gaps[k]))
    if fault == "missed":
        take.onsets_s[k] = None
    elif fault == "extra":
        k = max(spots, key=lambda s: gaps[s])
        take.extras_s.append(float(clean[k] + 0.5 * gaps[k]))
    elif fault == "out of place":
        k = max(spots, key=lambda s: min(gaps[s - 1], gaps[s]))
        room = float(min(gaps[k - 1], gaps[k]))
        take.onsets_s[k] = float(clean[k] + rng.choice([-1, 1]) * 0.5 * room)
        take.displaced.add(k)
    elif fault == "late":
        off = float(rng.choice([-1, 1]) * rng.uniform(0.075, 0.11))
        if room > 0.35:
            take.onsets_s[k] = float(clean[k] + off)
            take.displaced.add(k)


def _rendered(bank, maker, strokes, loud, rng):
    if maker == "burst":
        return _bursts(strokes, loud, rng)
    keys = {"clap": (CLAP,), "kick and snare": (KICK, SNARE), "stick": (STICK,),
            "muted guitar": (45, 50, 52)}[maker]  # fmt: skip
    length = round((strokes[-1] + 1.5) * RATE)
    out, delays = np.zeros(length, np.float32), []
    for k, (at, velocity) in enumerate(zip(strokes, loud, strict=True)):
        sound, delay = _one(bank, maker == "muted guitar", keys[k % len(keys)], velocity // 8 * 8)
        start = round(at * RATE)
        part = sound[: length - start]
        out[start : start + len(part)] += part
        delays.append(delay)
    return out * (0.5 / np.abs(out).max()), delays


@lru_cache(maxsize=400)
def _one(bank: str, pitched: bool, key: int, velocity: int) -> tuple[np.ndarray, float]:
    """One stroke alone, and when it reaches a fifth of its peak."""
    if pitched:
        note = Played(0.0, 0.12, key, velocity)
        sound = synth(bank).render(MUTED_GUITAR, [note], 0.6)
    else:
        sound = _percussion(bank, key, velocity)
    size = np.abs(sound)
    return sound, float(np.argmax(size >= 0.2 * size.max())) / RATE


def _percussion(bank: str, key: int, velocity: int) -> np.ndarray:
    """Channel 10 of the bank: FluidSynth keeps percussion in bank 128."""
    one = synth(bank)
    lib, where = one._lib, one._synth
    lib.fluid_synth_system_reset(where)
    lib.fluid_synth_program_select(where, 9, one._font, 128, 0)
    one._write(np.zeros((2, RATE), np.float32), 0, RATE)
    out = np.zeros((2, RATE), np.float32)
    lib.fluid_synth_noteon(where, 9, key, velocity)
    one._write(out, 0, RATE)
    lib.fluid_synth_noteoff(where, 9, key)
    return out.mean(axis=0)


def _bursts(strokes, loud, rng):
    out = np.zeros(round((strokes[-1] + 1.0) * RATE), np.float32)
    decay = np.exp(-np.arange(RATE // 5) / (0.02 * RATE))
    for at, velocity in zip(strokes, loud, strict=True):
        start = round(at * RATE)
        sound = rng.normal(0, 1, len(decay)) * decay * 10 ** ((velocity - 127) / 40)
        out[start : start + len(sound)] += sound[: len(out) - start].astype(np.float32)
    return out * (0.5 / np.abs(out).max()), [0.0] * len(strokes)
