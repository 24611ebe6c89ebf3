"""Spoil pictures of staves as scanners and phones do, many at a time, on the device they lie on.

Pictures are ink in 0..1, (batch, 1, 176, width).
"""

import math

import torch
from torch.nn import functional as F  # noqa: N812


def _u(n: int, low: float, high: float, like: torch.Tensor) -> torch.Tensor:
    return torch.rand(n, 1, 1, 1, device=like.device) * (high - low) + low


def _some(n: int, share: float, like: torch.Tensor) -> torch.Tensor:
    return (torch.rand(n, 1, 1, 1, device=like.device) < share).float()


def neighbours(ink: torch.Tensor) -> torch.Tensor:
    """What hangs into the picture from the staves above and below."""
    n, _, height, _ = ink.shape
    out = ink.clone()
    for sign in (-1, 1):
        other = ink[torch.randperm(n, device=ink.device)]
        shift = int(torch.randint(112, 165, (1,)))
        moved = torch.zeros_like(other)
        if shift < height:
            if sign > 0:
                moved[:, :, shift:] = other[:, :, : height - shift]
            else:
                moved[:, :, : height - shift] = other[:, :, shift:]
        out = torch.maximum(out, moved * _some(n, 0.45, ink))
    return out


def bend(ink: torch.Tensor, hard: torch.Tensor) -> torch.Tensor:
    """What straightening leaves: shifts, slopes, waves, other scales."""
    n, _, height, width = ink.shape
    x = torch.linspace(-1, 1, width, device=ink.device).view(1, 1, width)
    y = torch.linspace(-1, 1, height, device=ink.device).view(1, height, 1)

    def r(low: float, high: float) -> torch.Tensor:
        return torch.rand(n, 1, 1, device=ink.device) * (high - low) + low

    h = hard.view(n, 1, 1)
    px = 2 / height
    dy = r(-2.5, 2.5) * px + h * r(-2.5, 2.5) * px * x
    for waves in (1.0, 2.0, 5.0, 9.0):
        amplitude = h * r(0, 2.2) * px / math.sqrt(waves)
        dy = dy + amplitude * torch.sin(x * math.pi * waves * r(0.7, 1.3) + r(0, 6.3))
    sy = 1 + r(-0.04, 0.04) + h * r(-0.03, 0.03) * x
    sx = 1 + r(-0.015, 0.16)  # from the left edge: nothing is pushed out
    slant = r(-0.05, 0.05) * h
    gy = (y + dy) * sy
    gx = ((x + 1) * sx - 1 + h * r(-0.004, 0.004) * torch.sin(x * r(3, 12))).expand(
        n, height, width
    )
    gx = gx + slant * y * height / width
    grid = torch.stack((gx, gy.expand(n, height, width)), -1)
    return F.grid_sample(ink, grid, padding_mode="zeros", align_corners=True)


def _blur(x: torch.Tensor, sigma: float, *, along: int = 0) -> torch.Tensor:
    if sigma < 0.15:
        return x
    radius = max(1, math.ceil(2.5 * sigma))
    k = torch.exp(-0.5 * (torch.arange(-radius, radius + 1, device=x.device) / sigma) ** 2)
    k = k / k.sum()
    if along in (0, 1):
        x = F.conv2d(F.pad(x, (0, 0, radius, radius), mode="replicate"), k.view(1, 1, -1, 1))
    if along in (0, 2):
        x = F.conv2d(F.pad(x, (radius, radius, 0, 0), mode="replicate"), k.view(1, 1, 1, -1))
    return x


def _jpeg(gray: torch.Tensor, quality: torch.Tensor) -> torch.Tensor:
    """Cosine transform of blocks of 8, rounded as the standard's luminance table says."""
    n, _, height, width = gray.shape
    i = torch.arange(8, device=gray.device, dtype=torch.float32)
    d = torch.cos((2 * i[None] + 1) * i[:, None] * math.pi / 16) * 0.5
    d[0] /= math.sqrt(2)
    table = torch.tensor(_LUMINANCE, device=gray.device, dtype=torch.float32).view(8, 8)
    scale = torch.where(quality < 50, 50 / quality, 2 - quality / 50).view(n, 1, 1, 1, 1)
    steps = (table.view(1, 1, 1, 8, 8) * scale).clamp(min=1)
    b = (gray * 255 - 128).view(n, height // 8, 8, width // 8, 8).permute(0, 1, 3, 2, 4)
    c = d @ b @ d.T
    c = torch.round(c / steps) * steps
    b = d.T @ c @ d
    return ((b.permute(0, 1, 3, 2, 4).reshape(n, 1, height, width) + 128) / 255).clamp(0, 1)


_LUMINANCE = (  # ITU-T T.81 (1992), table K.1
    16, 11, 10, 16, 24, 40, 51, 61, 12, 12, 14, 19, 26, 58, 60, 55, 14, 13, 16, 24, 40, 57, 69, 56,
    14, 17, 22, 29, 51, 87, 80, 62, 18, 22, 37, 56, 68, 109, 103, 77, 24, 35, 55, 64, 81, 104, 113,
    92, 49, 64, 78, 87, 103, 121, 120, 101, 72, 92, 95, 98, 112, 100, 103, 99,
)  # fmt: skip


def _clouds(n: int, height: int, width: int, like: torch.Tensor) -> torch.Tensor:
    """Smooth light and shade in -1..1."""
    small = torch.rand(n, 1, 3, 9, device=like.device) * 2 - 1
    return F.interpolate(small, (height, width), mode="bicubic", align_corners=True)


def _pencil(ink: torch.Tensor) -> torch.Tensor:
    """A few strokes that were never printed."""
    n, _, height, width = ink.shape
    x = torch.arange(width, device=ink.device).view(1, 1, 1, width)
    y = torch.arange(height, device=ink.device).view(1, 1, height, 1)
    out = torch.zeros_like(ink)
    for _ in range(2):
        x0, y0 = _u(n, 0, width, ink), _u(n, 0, height, ink)
        angle, length = _u(n, 0, 6.3, ink), _u(n, 10, 60, ink)
        along = (x - x0) * torch.cos(angle) + (y - y0) * torch.sin(angle)
        across = -(x - x0) * torch.sin(angle) + (y - y0) * torch.cos(angle)
        across = across + 3 * torch.sin(along / 9)
        stroke = ((across.abs() < 0.9) & (along > 0) & (along < length)).float()
        out = torch.maximum(out, stroke * _u(n, 0.15, 0.5, ink))
    return torch.maximum(ink, out * _some(n, 0.12, ink))


def normalised(gray: torch.Tensor) -> torch.Tensor:
    """Ink in 0..1 with the paper's light taken out; as `coldtake.music.print.paper` does."""
    small = F.avg_pool2d(gray, 4)
    light = F.max_pool2d(small, 9, 1, 4)
    light = F.avg_pool2d(F.pad(light, (4, 4, 4, 4), mode="replicate"), 9, 1)
    light = F.interpolate(light, gray.shape[2:], mode="bilinear", align_corners=False)
    ink = ((light - gray) / light.clamp(min=0.05)).clamp(0, 1)
    dark = torch.quantile(ink.flatten(1)[:, ::7].float(), 0.985, dim=1).view(-1, 1, 1, 1)
    return (ink / dark.clamp(min=0.12)).clamp(0, 1)


def spoiled(ink: torch.Tensor, level: torch.Tensor) -> torch.Tensor:
    """level : 0 clean … 1 a bad photo, (batch, 1, 1, 1)"""
    n, _, height, width = ink.shape
    ink = neighbours(ink)
    thick = F.max_pool2d(ink, 3, 1, 1)
    thin = -F.max_pool2d(-ink, 3, 1, 1)
    w = _u(n, -0.55, 0.6, ink)
    ink = torch.where(w > 0, ink + w * (thick - ink), ink + (-w * 0.5) * (thin - ink))
    ink = _pencil(bend(ink, 0.15 + level))
    through = torch.flip(ink[torch.randperm(n, device=ink.device)], (3,))
    ink = torch.maximum(ink, _blur(through, 1.2) * _u(n, 0, 0.22, ink) * _some(n, 0.15, ink))
    # sharpness: four strengths a batch, each for the pictures whose level asks for it
    strength = (level * torch.rand_like(level) * 4).long().clamp(max=3).view(-1)
    parts = torch.empty_like(ink)
    for s in range(4):
        chosen = strength == s
        if not bool(chosen.any()):
            continue
        part = ink[chosen]
        factor = float(torch.rand(1)) * (0.10 + 0.17 * s)
        if factor > 0.05:
            size = (round(height * (1 - factor)), round(width * (1 - factor)))
            part = F.interpolate(part, size, mode="area")
            part = F.interpolate(part, (height, width), mode="bilinear", align_corners=False)
        part = _blur(part, float(torch.rand(1)) * (0.3 + 0.5 * s))
        if s > 1 and float(torch.rand(1)) < 0.4:
            part = _blur(part, float(torch.rand(1)) * 2.2, along=int(torch.randint(1, 3, (1,))))
        parts[chosen] = part
    ink = parts
    light = (0.95 - level * _u(n, 0, 0.45, ink)) * (
        1 + level * 0.4 * _u(n, 0, 1, ink) * _clouds(n, height, width, ink)
    )
    depth = 1 - _u(n, 0, 0.15, ink) - level * _u(n, 0, 0.35, ink)
    gray = light * (1 - depth * ink)
    grain = _blur(torch.randn_like(gray), 0.7) * 1.5
    gray = gray + level * _u(n, 0, 0.07, ink) * torch.where(
        _some(n, 0.5, ink) > 0, grain, torch.randn_like(gray)
    )
    gray = gray.clamp(0, 1)
    quality = (95 - level * torch.rand_like(level) * 75).view(-1)
    squeezed = _jpeg(gray, quality)  # both sides are multiples of 8
    gray = torch.where(_some(n, 0.5, ink) > 0, squeezed, gray)
    speck = (torch.rand_like(gray) < 0.002 * _u(n, 0, 1, ink)).float() * _some(n, 0.15, ink)
    gray = gray * (1 - speck)
    out = normalised(gray)
    two = (out > _u(n, 0.3, 0.65, ink)).float()
    soft = _u(n, 0.7, 1.6, ink)
    return torch.where(_some(n, 0.15, ink) > 0, two, out**soft)
