"""A take's sound as an outline: the largest and smallest sample in each of a few hundred slices."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

SLICES = 600
HEIGHT = 100.0


@dataclass(frozen=True, slots=True)
class Waveform:
    """`path` in a box of SLICES by HEIGHT; `duration_s` is the whole width.

    level : how loud the sounding parts are, 0..1 of full scale
    """

    path: str
    duration_s: float
    level: float
    width: int = SLICES
    height: int = int(HEIGHT)

    def x(self, at_s: float) -> float:
        """Percent of the width for an instant in the take."""
        return round(100 * min(max(at_s / self.duration_s, 0.0), 1.0), 3) if self.duration_s else 0


def drawn(lows: Sequence[float], highs: Sequence[float]) -> str:
    """SVG path around the sound; loudest point at full height, silence a flat line."""
    loudest = max(max(map(abs, (*lows, *highs)), default=0.0), 1e-4)
    scale = 0.48 * HEIGHT / loudest
    up = [f"{i} {HEIGHT / 2 - h * scale:.1f}" for i, h in enumerate(highs)]
    down = [f"{i} {HEIGHT / 2 - low * scale + 0.4:.1f}" for i, low in enumerate(lows)][::-1]
    return f"M{'L'.join(up)}L{'L'.join(down)}Z"


def level(lows: Sequence[float], highs: Sequence[float]) -> float:
    """Root mean square of the slices' amplitudes, without those that are nearly silent.

    A gate 30 dB under the loudest slice keeps the seconds before the first note out of it.
    """
    sizes = [(high - low) / 2 for low, high in zip(lows, highs, strict=True)]
    gate = max(sizes, default=0.0) * 10 ** (-30 / 20)
    sounding = [size for size in sizes if size > gate]
    return math.sqrt(sum(s * s for s in sounding) / len(sounding)) if sounding else 0.0


@lru_cache(maxsize=32)
def waveform(path: Path) -> Waveform:
    """Read a take's FLAC file. Raises SoundError when it cannot be read."""
    from coldtake.listening.worker_client import waveform_overview

    small = waveform_overview(path, SLICES)
    return Waveform(
        drawn(small.lows, small.highs), small.duration_s, level(small.lows, small.highs)
    )
