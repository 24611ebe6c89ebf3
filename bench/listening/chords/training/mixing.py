"""Notes to sound, on whatever device: a batch of segments mixed, coloured, put into rooms."""

import numpy as np
import torch

RATE = 22_050
LONG = 131_072  # of the transforms: a segment and its room


def mix(table: np.ndarray, library: torch.Tensor, segments: int, length: int) -> torch.Tensor:
    """Rows (segment, library row, start s, length s, gain, ratio, release s) to sound."""
    device = library.device
    out = torch.zeros(segments * length, device=device)
    reach = table[:, 3] + 5.0 * table[:, 6]
    order = np.argsort(reach)
    size = library.shape[1]
    flat = library.reshape(-1)
    for part in np.array_split(order, max(len(order) // 192, 1)):
        rows = table[part]
        start = torch.as_tensor(rows[:, 2] * RATE, device=device)
        first = torch.floor(start)
        longest = int(min(reach[part].max() * RATE + 64, size / rows[:, 5].min() - 2, length * 1.4))
        n = torch.arange(longest, device=device)
        place = (n[None, :] - (start - first)[:, None]) * torch.tensor(rows[:, 5:6], device=device)
        place = place.float().clamp(0, size - 2)
        low = place.long()
        base = torch.tensor(rows[:, 1].astype(np.int64) * size, device=device)[:, None]
        a, b = flat[base + low].float(), flat[base + low + 1].float()
        sound = a + (b - a) * (place - low)
        time = n[None, :] / RATE
        held = torch.tensor(rows[:, 3:4], device=device).float()
        rel = torch.tensor(rows[:, 6:7], device=device).float()
        sound *= torch.exp(-torch.clamp(time - held, min=0.0) / (rel / 3.0))
        sound *= torch.tensor(rows[:, 4:5], device=device).float() / 32768.0
        sound *= torch.clamp((size / torch.tensor(rows[:, 5:6], device=device) - n) / 400, 0, 1)
        at = first.long()[:, None] + n[None, :]
        good = (at >= 0) & (at < length)
        where = torch.tensor(rows[:, 0].astype(np.int64) * length, device=device)[:, None] + at
        out.index_add_(0, where[good], sound[good].float())
    return out.reshape(segments, length)


def coloured(
    sound: torch.Tensor, rng: np.random.Generator, generator: torch.Generator
) -> torch.Tensor:
    """Equaliser, room, noise, click, level: as recordings differ."""
    device = sound.device
    count, length = sound.shape
    spectrum = torch.fft.rfft(sound, LONG)
    bins = LONG // 2 + 1
    shapes, rooms = [], []
    for _ in range(count):
        shapes.append(_equaliser(rng))
        rooms.append((float(rng.uniform(0.12, 0.9)), float(rng.uniform(-38, -12))))
    shape = _at_bins(torch.tensor(np.array(shapes), device=device, dtype=torch.float32))
    t = torch.arange(LONG - length, device=device) / RATE
    noise = torch.randn(count, LONG - length, device=device, generator=generator)
    rt = torch.tensor([r[0] for r in rooms], device=device)[:, None]
    wet = torch.tensor([r[1] for r in rooms], device=device)[:, None]
    tail = noise * torch.exp(-6.9 * t[None, :] / rt) * (t[None, :] > 0.004)
    tail *= 10 ** (wet / 20) / tail.square().sum(1, keepdim=True).sqrt() * 3.0
    tail[:, 0] = 1.0
    dry = torch.tensor(rng.random(count) < 0.35, device=device)[:, None]
    room = torch.fft.rfft(tail, LONG)
    spectrum = spectrum * shape * torch.where(dry, torch.ones_like(room), room)
    out = torch.fft.irfft(spectrum, LONG)[:, :length]
    out = out / (out.square().mean(1, keepdim=True).sqrt() + 1e-4)
    hiss = torch.fft.rfft(torch.randn(count, LONG, device=device, generator=generator), LONG)
    slope = torch.tensor(rng.uniform(0, 1, count), device=device, dtype=torch.float32)[:, None]
    ramp = torch.arange(bins, device=device)[None, :].clamp(min=20) / 1000.0
    hiss = torch.fft.irfft(hiss * ramp**-slope, LONG)[:, :length]
    hiss = hiss / hiss.square().mean(1, keepdim=True).sqrt()
    snr = torch.tensor(rng.choice([20.0, 30.0, 45.0, 60.0, 70.0], count) + rng.normal(0, 4, count),
                       device=device, dtype=torch.float32)[:, None]  # fmt: skip
    out = out + hiss * 10 ** (-snr / 20)
    out = out + _clicks(rng, count, length, device)
    top = _loudest(out)
    level = torch.tensor(rng.normal(-14, 2.0, count), device=device, dtype=torch.float32)[:, None]
    return out / top * 10 ** (level / 20)


def _loudest(sound: torch.Tensor) -> torch.Tensor:
    """RMS of the loudest tenth of a second of each row."""
    part = sound[:, : sound.shape[1] // 2205 * 2205].reshape(len(sound), -1, 2205)
    return part.square().mean(2).amax(1, keepdim=True).sqrt() + 1e-5


POINTS = np.geomspace(10.0, RATE / 2, 400)  # Hz


def _equaliser(rng: np.random.Generator) -> np.ndarray:
    """Gains at POINTS."""
    hz = POINTS
    if rng.random() < 0.25:
        return np.ones(len(hz), np.float32)
    knots = np.geomspace(40, 11000, 9)
    gains = rng.normal(0, rng.uniform(1, 5), 9)
    curve = np.interp(np.log(hz), np.log(knots), gains)
    if rng.random() < 0.3:
        curve -= 12 * np.maximum(np.log2(rng.uniform(40, 250) / hz), 0)
    if rng.random() < 0.3:
        curve -= 12 * np.maximum(np.log2(hz / rng.uniform(3000, 9000)), 0)
    return 10 ** (np.maximum(curve, -60) / 20)


def _at_bins(gains: torch.Tensor) -> torch.Tensor:
    """Gains at POINTS to gains at the bins of the long transform."""
    hz = torch.linspace(0, RATE / 2, LONG // 2 + 1, device=gains.device).clamp(min=10.1)
    step = float(np.log(POINTS[1] / POINTS[0]))
    place = (torch.log(hz / 10.0) / step).clamp(max=len(POINTS) - 1.01)
    low = place.long()
    part = (place - low)[None, :]
    return gains[:, low] * (1 - part) + gains[:, low + 1] * part


def _clicks(rng: np.random.Generator, count: int, length: int, device) -> torch.Tensor:
    out = np.zeros((count, length), np.float32)
    for s in np.flatnonzero(rng.random(count) < 0.15):
        every = rng.uniform(0.3, 1.0)
        hz, lasts = rng.uniform(800, 4000), 10 ** rng.uniform(-2.7, -1.7)
        t = np.arange(int(0.06 * RATE)) / RATE
        tone = np.sin(2 * np.pi * hz * t) if rng.random() < 0.6 else rng.normal(0, 0.5, len(t))
        one = tone * np.exp(-t / lasts) * 10 ** (rng.uniform(-24, 3) / 20)
        at = rng.uniform(0, every)
        while at < length / RATE - 0.1:
            k = int(at * RATE)
            out[s, k : k + len(one)] += one[: length - k].astype(np.float32)
            at += every
    return torch.tensor(out, device=device)
