"""The network: two views of the spectrum, harmonics laid over one another, keys as the axis."""

import numpy as np
import torch
from torch import nn

BINS, KEYS = 312, 88
# Bins from a tone to its half, itself, and its harmonics 2..8 (three bins a semitone).
HARMONICS = tuple(round(36 * np.log2(h)) for h in (0.5, 1, 2, 3, 4, 5, 6, 7, 8))
# Keys whose partials fall together: octave, twelfth, two octaves, seventeenth, fifth, third.
KIN = (-28, -24, -19, -12, -7, 7, 12, 19, 24, 28)


class Front(nn.Module):
    """Spectrum, shape (batch, 2, frames, BINS), to (batch, channels, frames, KEYS)."""

    def __init__(self, channels: int) -> None:
        super().__init__()
        self.mix = nn.Conv2d(2 * len(HARMONICS), channels, (3, 5), stride=(1, 3), padding=(1, 0))
        self.norm = nn.BatchNorm2d(channels)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        wide = nn.functional.pad(x, (40, 120))
        stack = torch.cat([wide[..., 39 + h : 39 + h + 266] for h in HARMONICS], 1)
        return torch.relu(self.norm(self.mix(stack)))


class Block(nn.Module):
    """Looks on in time and to neighbouring keys, then to keys that share partials."""

    def __init__(self, channels: int, reach: int, few: int = 8) -> None:
        super().__init__()
        self.near = nn.Conv2d(channels, channels, 3, dilation=(reach, 1), padding=(reach, 1))
        self.norm = nn.BatchNorm2d(channels)
        self.few = nn.Conv2d(channels, few, 1)
        self.kin = nn.Conv2d(few * len(KIN) + channels, channels, 1)
        self.last = nn.BatchNorm2d(channels)

    def forward(self, h: torch.Tensor) -> torch.Tensor:
        y = torch.relu(self.norm(self.near(h)))
        wide = nn.functional.pad(self.few(y), (28, 28))
        kin = torch.cat([wide[..., 28 + k : 28 + k + KEYS] for k in KIN], 1)
        return torch.relu(h + self.last(self.kin(torch.cat([y, kin], 1))))


class Net(nn.Module):
    """Logits (batch, 3, frames, KEYS): onset, sounding, expected note was played.

    spectrum : (batch, 2, frames, BINS); score : (batch, 3, frames, KEYS), expected onset and
    sounding, and 1 where a score is told
    """

    def __init__(self, channels: int = 48, reaches: tuple[int, ...] = (1, 2, 4, 8, 4, 1)) -> None:
        super().__init__()
        self.front = Front(channels)
        self.told = nn.Conv2d(4, channels, (1, 1))
        self.blocks = nn.ModuleList(Block(channels, r) for r in reaches)
        self.heads = nn.Conv2d(channels, 3, (3, 1), padding=(1, 0))
        with torch.no_grad():  # most keys are silent most of the time
            self.heads.bias.copy_(torch.tensor([-4.5, -2.5, 1.5]))
        self.register_buffer("place", torch.linspace(-1, 1, KEYS).reshape(1, 1, 1, KEYS))

    def forward(self, spectrum: torch.Tensor, score: torch.Tensor) -> torch.Tensor:
        h = self.front(spectrum)
        place = self.place.expand(score.shape[0], 1, score.shape[2], KEYS)
        h = h + self.told(torch.cat([score, place], 1))
        for block in self.blocks:
            h = block(h)
        return self.heads(h)


class Ear(nn.Module):
    """Sound to spectrum in torch, the same as `spectrum.py` in NumPy."""

    def __init__(self, kernels: np.ndarray) -> None:
        super().__init__()
        self.register_buffer("kernels", torch.tensor(kernels.T.copy()))

    @torch.no_grad()
    def forward(self, sound: torch.Tensor, frames: int, hop: int, size: int) -> torch.Tensor:
        padded = nn.functional.pad(sound, (size // 2, size // 2 + hop))
        cut = padded.unfold(1, size, hop)[:, :frames]
        spectra = torch.fft.rfft(cut.contiguous()) @ self.kernels
        level = 20 * torch.log10(spectra.abs().clamp(min=1e-6)) + 90.0
        both = level.clamp(min=0) / 45.0
        return both.reshape(len(sound), frames, 2, -1).transpose(1, 2).contiguous()
