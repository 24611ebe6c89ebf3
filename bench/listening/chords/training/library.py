"""Single notes to train from: TimGM6mb played note by note, and tones of our own making.

Every note is four seconds, held throughout, at 22.05 kHz, with what must be known of it: when it
is heard to begin (halfway between 10 % and 50 % of the peak of its attack, as in the bench) and
when it has died away by 32 dB. FluidR3, on which the figures are reported, is never read.
"""

from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np

RATE = 22_050
LENGTH = 4 * RATE
ATTACK = RATE // 4

# General MIDI programmes (from 0) with their usual ranges, sounding; common practice, no source.
PROGRAMMES = {
    0: (22, 106), 1: (24, 104), 2: (24, 104), 3: (28, 100), 4: (28, 98), 5: (28, 98), 6: (29, 89),
    7: (29, 91), 8: (60, 106), 9: (72, 106), 10: (60, 100), 11: (53, 89), 12: (40, 96),
    13: (60, 106), 14: (55, 84), 15: (48, 84), 16: (36, 96), 17: (36, 96), 18: (36, 96),
    19: (28, 100), 20: (36, 96), 21: (41, 91), 22: (50, 91), 23: (41, 91), 24: (40, 84),
    25: (40, 86), 26: (40, 86), 27: (40, 86), 28: (40, 82), 29: (40, 86), 30: (40, 86),
    32: (28, 60), 33: (28, 60), 34: (28, 60), 35: (28, 60), 36: (28, 60), 38: (28, 60),
    40: (55, 98), 41: (48, 86), 42: (36, 76), 43: (28, 60), 44: (40, 90), 45: (36, 90),
    46: (24, 102), 48: (28, 96), 49: (28, 96), 50: (36, 96), 51: (36, 96), 52: (40, 82),
    53: (40, 82), 54: (40, 82), 56: (53, 86), 57: (36, 74), 58: (28, 60), 59: (53, 82),
    60: (34, 77), 61: (36, 86), 64: (54, 88), 65: (49, 84), 66: (42, 79), 67: (36, 72),
    68: (58, 91), 69: (52, 81), 70: (34, 74), 71: (50, 91), 72: (74, 106), 73: (60, 96),
    74: (60, 91), 75: (60, 96), 79: (60, 96), 80: (40, 96), 81: (36, 96), 85: (40, 84),
    88: (36, 90), 89: (36, 90), 91: (40, 84), 104: (48, 84), 105: (48, 86), 106: (48, 84),
    107: (43, 91), 108: (60, 84), 109: (48, 80), 110: (55, 98), 114: (55, 84),
}  # fmt: skip
HELD_OUT = (4, 19, 23, 26, 46, 53)  # never trained on: they tell how a strange timbre fares
# What players of chords play gets a larger share of the takes.
WEIGHT = {0: 8, 1: 4, 2: 2, 21: 4, 23: 3, 24: 6, 25: 5, 26: 2, 27: 2, 52: 5, 53: 3, 54: 2, 16: 2,
          19: 2, 46: 2, 48: 2, 4: 2, 5: 2, 6: 2}  # fmt: skip
LAYERS = (50, 84, 116)  # velocities


@dataclass
class Library:
    """notes : int16, shape (n, LENGTH); the other arrays have one value per note.

    instrument : of which instrument; key : its tempered MIDI number; layer : velocity
    onset_s, death_s : see above; level : its loudest tenth of a second, RMS of full scale
    """

    notes: np.ndarray
    instrument: np.ndarray
    key: np.ndarray
    layer: np.ndarray
    onset_s: np.ndarray
    death_s: np.ndarray
    level: np.ndarray


def measured(sound: np.ndarray) -> tuple[float, float, float]:
    """Onset [s], death [s] and level of one note."""
    size = np.abs(sound)
    peak = size[:ATTACK].max()
    ten, fifty = (float(np.argmax(size >= share * peak)) for share in (0.1, 0.5))
    frames = np.sqrt(np.square(sound[: LENGTH // 441 * 441]).reshape(-1, 441).mean(axis=1) + 1e-12)
    smooth = np.convolve(frames, np.ones(5) / 5, "same")
    loud = np.flatnonzero(smooth > smooth.max() * 10 ** (-32 / 20))
    return 0.5 * (ten + fifty) / RATE, float((loud[-1] + 1) * 441 / RATE), float(smooth.max())


def _programme(asked: tuple[str, int, int]) -> list[tuple]:
    import tinysoundfont

    path, programme, step = asked
    low, high = PROGRAMMES[programme]
    rows = []
    for layer in LAYERS:
        for key in range(low, high + 1, step):
            synth = tinysoundfont.Synth(gain=-6.0, samplerate=RATE)
            font = synth.sfload(path)
            synth.program_select(0, font, 0, programme)
            synth.noteon(0, key, layer)
            both = np.frombuffer(synth.generate(LENGTH), np.float32).reshape(-1, 2)
            sound = both.mean(axis=1)
            if np.abs(sound).max() < 1e-4:
                continue
            rows.append((sound, key, layer))
    return rows


def _as_kept(rows: list[tuple], number: int) -> list[tuple]:
    """One instrument at one loudness: its loudest note nearly fills 16 bits."""
    top = max(float(np.abs(r[0]).max()) for r in rows)
    out = []
    for sound, key, layer in rows:
        scaled = sound / top * 0.9
        out.append(((scaled * 32767).astype(np.int16), number, key, layer, *measured(scaled)))
    return out


def joined(rows: list[tuple]) -> Library:
    columns = list(zip(*rows, strict=True))
    return Library(np.stack(columns[0]), *(np.array(c) for c in columns[1:]))


def from_bank(
    path: str, programmes: tuple[int, ...], *, step: int = 2, workers: int = 14
) -> Library:
    """Notes of a bank; `instrument` is the programme."""
    rows = []
    asked = [(path, p, step) for p in programmes]
    with ProcessPoolExecutor(max(workers, 1)) as pool:
        for programme, found in zip(programmes, pool.map(_programme, asked), strict=True):
            if found:
                rows += _as_kept(found, programme)
    return joined(rows)


@dataclass
class Maker:
    """One invented instrument: partials, their shares, how they begin and end."""

    rng: np.random.Generator

    def __post_init__(self) -> None:
        r = self.rng
        self.held = r.random() < 0.4
        self.tilt = r.uniform(0.3, 2.4)
        self.rough = np.exp(r.normal(0, r.uniform(0.1, 0.7), 48))
        if self.held and r.random() < 0.3:  # stops of an organ, reeds of an accordion
            self.tilt *= 0.4
            drawn = np.isin(np.arange(1, 49), r.choice([1, 2, 3, 4, 5, 6, 8, 12, 16], 5, False))
            self.rough = np.where(drawn, self.rough, 0.02)
        self.even = 10 ** (-r.uniform(0, 22) / 20) if r.random() < 0.25 else 1.0
        self.first = 10 ** (-r.uniform(3, 22) / 20) if r.random() < 0.25 else 1.0
        self.place = r.uniform(0.08, 0.5) if not self.held and r.random() < 0.6 else None
        self.bumps = [(r.uniform(5, 8.5), r.uniform(0.15, 0.6), r.normal(0, 1.2)) for _ in range(3)]
        self.stiff = 0.0 if self.held else 10 ** r.uniform(-5.5, -3.2)
        self.decay_s = 10 ** r.uniform(-0.1, 0.95)
        self.damp = 10 ** r.uniform(-1.8, -0.3)
        self.second = r.uniform(0.05, 0.5) if r.random() < 0.5 else 0.0
        self.attack_s = 10 ** (r.uniform(-2.3, -0.75) if self.held else r.uniform(-3.3, -1.9))
        self.strings = int(r.choice([1, 2, 3], p=[0.4, 0.35, 0.25]))
        widest = r.choice([1.0, 3.0, 12.0], p=[0.5, 0.3, 0.2])
        self.detune = r.normal(0, widest / 2, self.strings)
        self.vibrato = (r.uniform(4, 7), r.uniform(0, 45), r.uniform(0, 0.3)) if (
            self.held and r.random() < 0.5) else None  # fmt: skip
        self.tremble = r.uniform(0, 0.3) if self.held else 0.0
        self.burst = 10 ** (-r.uniform(12, 50) / 20), 10 ** r.uniform(-2.4, -1.2)
        self.breath = 10 ** (-r.uniform(35, 65) / 20) if self.held else 0.0
        self.bright = r.uniform(0.0, 1.0)

    def note(self, key: int, layer: int, torch, device):
        """One note as a torch tensor on the device."""
        r = self.rng
        hz = 440.0 * 2 ** ((key - 69) / 12)
        t = torch.arange(LENGTH, device=device) / RATE
        count = int(np.clip(0.92 * RATE / 2 / hz, 1, 48))
        k = np.arange(1, count + 1)
        tilt = self.tilt + self.bright * (100 - layer) / 60.0
        share = k ** (-max(tilt, 0.1)) * self.rough[:count]
        share = share * np.where(k % 2 == 0, self.even, 1.0)
        share[0] *= self.first
        if self.place is not None:
            share *= 0.1 + np.abs(np.sin(np.pi * k * self.place))
        place = np.log(hz * k)
        for centre, width, gain in self.bumps:
            share *= np.exp(gain * np.exp(-0.5 * ((place - centre) / width) ** 2))
        share *= np.exp(r.normal(0, 0.15, count))
        partial_hz = hz * k * np.sqrt((1 + self.stiff * k**2) / (1 + self.stiff))
        bend = torch.zeros_like(t)
        if self.vibrato is not None:
            rate, cents, wait = self.vibrato
            grow = torch.clamp((t - wait) / 0.3, 0, 1)
            wave = torch.sin(2 * np.pi * rate * (t + float(r.uniform(0, 1))))
            bend = torch.cumsum(2 ** (cents / 1200 * grow * wave) - 1, 0) / RATE
        # a value for each partial and string, taken through time together
        f = torch.tensor(
            (partial_hz[None, :] * 2 ** (self.detune[:, None] / 1200)).reshape(-1),
            device=device, dtype=torch.float32,
        )  # fmt: skip
        phase = torch.tensor(r.uniform(0, 1, f.shape[0]), device=device, dtype=torch.float32)
        # fold to one turn before the sine: single precision would blur long times
        turns = torch.remainder(f[:, None].double() * (t + bend)[None, :].double(), 1.0).float()
        wave = torch.sin(2 * np.pi * (turns + phase[:, None]))
        amp = torch.tensor(np.tile(share, self.strings) / self.strings, device=device).float()
        if self.held:
            rise = self.attack_s * (1 + 0.5 * np.minimum(k, 8) / 8)
            rise = torch.tensor(np.tile(rise, self.strings), device=device).float()
            shape = 1 - torch.exp(-t[None, :] / (0.45 * rise[:, None]))
            shape = shape * (1 + self.tremble * torch.sin(2 * np.pi * 5.3 * t))[None, :]
        else:
            life = self.decay_s * 2 ** (-(key - 55) / 22.0)
            life = torch.tensor(
                np.tile(life / (1 + self.damp * (k - 1)), self.strings), device=device
            ).float()
            quick = torch.exp(-6.9 * t[None, :] / life[:, None])
            slow = torch.exp(-6.9 * t[None, :] / (4 * life[:, None]))
            shape = (1 - self.second) * quick + self.second * slow
            shape = shape * torch.clamp(t / self.attack_s, 0, 1)[None, :]
        sound = (amp[:, None] * shape * wave).sum(0)
        size = sound.abs().max()
        level, lasts = self.burst
        noise = torch.randn(LENGTH, device=device)
        noise = torch.nn.functional.avg_pool1d(
            noise[None, None], 2 * int(r.integers(0, 6)) + 1, 1,
            padding=0)[0, 0]  # fmt: skip
        noise = torch.nn.functional.pad(noise, (0, LENGTH - len(noise)))
        sound = sound + size * noise * (level * torch.exp(-t / lasts) + self.breath)
        loud = (layer / 100.0) ** 1.6
        return sound / sound.abs().max() * loud


def invented(count: int, seed: int, torch, device, *, keys: int = 24) -> Library:
    """Notes of `count` instruments of our own; `instrument` counts from 1000."""
    rows = []
    for n in range(count):
        rng = np.random.default_rng([seed, n])
        maker = Maker(rng)
        low = int(rng.integers(22, 50))
        high = int(min(low + rng.integers(30, 60), 106))
        own = []
        for key in np.unique(np.linspace(low, high, keys).astype(int)):
            layer = int(rng.choice(LAYERS))
            own.append((maker.note(int(key), layer, torch, device).cpu().numpy(), int(key), layer))
        rows += _as_kept(own, 1000 + seed % 1000 * 1000 + n)
    return joined(rows)
