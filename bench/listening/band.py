"""General MIDI instruments from Debian's sound banks, played by FluidSynth's own library.

Sound comes out as samples in memory; a note starts at the 64-sample block that holds its time, and
the time really used is handed back. The same calls give the same samples.
"""

import ctypes
import ctypes.util
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

RATE = 44100
BLOCK = 64  # samples; FluidSynth renders in blocks of this length
FLUSH = 1400 * BLOCK  # two seconds: the longest release dies away
BANKS = {
    "fluid": Path("/usr/share/sounds/sf2/FluidR3_GM.sf2"),
    "timgm": Path("/usr/share/sounds/sf2/TimGM6mb.sf2"),
}


# Bank and first seed of what constants are chosen on, and of what is only reported.
SETS = {"tune": ("timgm", 0), "report": ("fluid", 60_000)}


@dataclass(frozen=True)
class Instrument:
    """A General MIDI programme (counted from 0) with the range used here, sounding MIDI numbers."""

    name: str
    program: int
    low: int
    high: int
    family: str


INSTRUMENTS = {
    i.name: i
    for i in (
        Instrument("piano", 0, 36, 96, "struck"),
        Instrument("marimba", 12, 48, 84, "struck"),
        Instrument("guitar", 24, 40, 76, "plucked"),
        Instrument("bass", 32, 28, 55, "plucked"),
        Instrument("trumpet", 56, 55, 82, "brass"),
        Instrument("trombone", 57, 41, 70, "brass"),
        Instrument("horn", 60, 41, 74, "brass"),
        Instrument("alto sax", 65, 50, 80, "sax"),
        Instrument("violin", 40, 55, 93, "bowed"),
        Instrument("cello", 42, 36, 72, "bowed"),
        Instrument("oboe", 68, 58, 86, "reed"),
        Instrument("bassoon", 70, 35, 67, "reed"),
        Instrument("clarinet", 71, 50, 88, "reed"),
        Instrument("flute", 73, 60, 91, "flute"),
        Instrument("voice", 53, 48, 76, "voice"),
    )
}
SHARP = {"struck", "plucked", "brass", "sax"}


@dataclass(frozen=True)
class Played:
    """One key pressed: start and end [s], key, velocity 1..127, detune in cents."""

    start_s: float
    end_s: float
    key: int
    velocity: int = 90
    cents: float = 0.0


class Synth:
    """One loaded bank."""

    def __init__(self, bank: str) -> None:
        self._lib = _library()
        self._settings = self._lib.new_fluid_settings()
        self._lib.fluid_settings_setnum(self._settings, b"synth.sample-rate", float(RATE))
        self._lib.fluid_settings_setnum(self._settings, b"synth.gain", 0.6)
        for off in (b"synth.reverb.active", b"synth.chorus.active"):
            self._lib.fluid_settings_setint(self._settings, off, 0)
        self._synth = self._lib.new_fluid_synth(self._settings)
        self._font = self._lib.fluid_synth_sfload(self._synth, str(BANKS[bank]).encode(), 1)
        if self._font < 0:
            raise FileNotFoundError(BANKS[bank])

    def render(self, program: int, notes: Sequence[Played], tail_s: float = 1.0) -> np.ndarray:
        """Samples (mono float32) of the notes; time 0 is sample 0."""
        lib, synth = self._lib, self._synth
        lib.fluid_synth_system_reset(synth)
        for channel in _CHANNELS:
            lib.fluid_synth_program_select(synth, channel, self._font, 0, program)
            lib.fluid_synth_pitch_wheel_sens(synth, channel, 2)
        events = _events(notes)
        self._write(np.zeros((2, FLUSH), np.float32), 0, FLUSH)  # what still sounded before
        length = max((_block(n.end_s) for n in notes), default=0) + _block(tail_s)
        out = np.zeros((2, length), np.float32)
        at = 0
        for sample, order, what, channel, note in events:
            del order
            self._write(out, at, sample)
            at = max(at, sample)
            if what == "on":
                bend = round(8192 + note.cents / 200.0 * 8192)
                lib.fluid_synth_pitch_bend(synth, channel, bend)
                lib.fluid_synth_noteon(synth, channel, note.key, note.velocity)
            else:
                lib.fluid_synth_noteoff(synth, channel, note.key)
        self._write(out, at, length)
        return out.mean(axis=0)

    def _write(self, out: np.ndarray, start: int, stop: int) -> None:
        if stop <= start:
            return
        left = out[0].ctypes.data_as(ctypes.c_void_p)
        right = out[1].ctypes.data_as(ctypes.c_void_p)
        self._lib.fluid_synth_write_float(
            self._synth, stop - start, left, start, 1, right, start, 1
        )


_CHANNELS = (0, 1, 2, 3, 4, 5)


def _block(seconds: float) -> int:
    return round(seconds * RATE / BLOCK) * BLOCK


def start_used(seconds: float) -> float:
    """The moment at which a note asked for at `seconds` really starts [s]."""
    return _block(seconds) / RATE


def _events(notes: Sequence[Played]) -> list[tuple[int, int, str, int, Played]]:
    events = []
    for k, note in enumerate(notes):
        channel = _CHANNELS[k % len(_CHANNELS)]
        events.append((_block(note.start_s), 1, "on", channel, note))
        events.append(
            (max(_block(note.end_s), _block(note.start_s) + BLOCK), 0, "off", channel, note)
        )
    return sorted(events, key=lambda e: e[:2])


def _library() -> ctypes.CDLL:
    lib = ctypes.CDLL(ctypes.util.find_library("fluidsynth") or "libfluidsynth.so.3")
    p, i, d, s = ctypes.c_void_p, ctypes.c_int, ctypes.c_double, ctypes.c_char_p
    lib.new_fluid_settings.restype = p
    lib.fluid_settings_setnum.argtypes = [p, s, d]
    lib.fluid_settings_setint.argtypes = [p, s, i]
    lib.new_fluid_synth.argtypes, lib.new_fluid_synth.restype = [p], p
    lib.fluid_synth_sfload.argtypes = [p, s, i]
    lib.fluid_synth_system_reset.argtypes = [p]
    lib.fluid_synth_program_select.argtypes = [p, i, i, i, i]
    for name in ("pitch_wheel_sens", "pitch_bend", "noteoff"):
        getattr(lib, f"fluid_synth_{name}").argtypes = [p, i, i]
    lib.fluid_synth_noteon.argtypes = [p, i, i, i]
    lib.fluid_synth_write_float.argtypes = [p, i, p, i, i, p, i, i]
    lib.fluid_set_log_function.argtypes = [i, p, p]
    lib.fluid_set_log_function.restype = p
    for level in range(5):
        lib.fluid_set_log_function(level, None, None)
    return lib


@lru_cache(maxsize=2)
def synth(bank: str) -> Synth:
    """The loaded bank, once per process."""
    return Synth(bank)


@dataclass(frozen=True)
class Rise:
    """How one note starts when played alone, seconds after its key is pressed.

    ten_s, fifty_s : when its magnitude first reaches 10 % and 50 % of the peak of its attack
    """

    ten_s: float
    fifty_s: float

    @property
    def onset_s(self) -> float:
        """The acoustic onset as defined here: halfway between the two."""
        return 0.5 * (self.ten_s + self.fifty_s)

    @property
    def rise_s(self) -> float:
        return self.fifty_s - self.ten_s


ATTACK_S = 0.25  # the attack's peak is looked for within this time


@lru_cache(maxsize=20_000)
def rise_of(bank: str, program: int, key: int, velocity: int) -> Rise:
    """Measure the rise of a note on its own rendered sound."""
    sound = synth(bank).render(program, [Played(0.0, 0.6, key, velocity)], 0.0)
    return rise_in(sound)


def rise_in(sound: np.ndarray) -> Rise:
    """When the sound's magnitude first reaches 10 % and 50 % of its peak within the attack."""
    size = np.abs(sound[: int(ATTACK_S * RATE)])
    peak = size.max()
    return Rise(*(float(np.argmax(size >= share * peak)) / RATE for share in (0.1, 0.5)))


def _weighted_median(values: np.ndarray, weights: np.ndarray) -> float:
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, 0.5 * total[-1])])


@lru_cache(maxsize=20_000)
def tuning_of(bank: str, program: int, key: int, velocity: int, length_s: float = 1.1) -> float:
    """How far a note of a given length stands from the key's tempered pitch [cents].

    Median, by magnitude, of what the first six partials say over the note's own length, its very
    beginning left out (45 ms, or 30 % of a short one). A partial says the slope of its phase after
    shifting it to 0 Hz, the median by energy. A plucked string or a scooped tone stands elsewhere
    in its first 100 ms than later.
    """
    sound = synth(bank).render(program, [Played(0.0, length_s + 0.1, key, velocity)], 0.0)
    part = sound[int(min(0.045, 0.3 * length_s) * RATE) : int(length_s * RATE)]
    base = 440.0 * 2 ** ((key - 69) / 12)
    time = np.arange(len(part)) / RATE
    periods = 8 if len(part) > 24 * RATE / base else 4
    said: list[float] = []
    sizes: list[float] = []
    for k in range(1, 7):
        shifted = part * np.exp(-2j * np.pi * k * base * time)
        width = min(int(RATE / base * periods), len(part) - 2)
        smooth = np.convolve(shifted, np.hanning(width) / width, "valid")
        weight = np.abs(smooth) ** 2
        advance = np.angle(smooth[1:] * np.conj(smooth[:-1]))
        hz = _weighted_median(advance, weight[1:]) * RATE / (2 * np.pi)
        cents = 1200.0 * np.log2((k * base + hz) / (k * base))
        if abs(cents) < 40.0:
            said.append(float(cents))
            sizes.append(float(np.sqrt(weight.mean())))
    return _weighted_median(np.array(said), np.array(sizes)) if said else 0.0
