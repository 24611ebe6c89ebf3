"""A take's sound as an outline: the largest and smallest sample in each of a few hundred slices."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

SLICES = 600
HEIGHT = 100.0


@dataclass(frozen=True, slots=True)
class Waveform:
    """`path` in a box of SLICES by HEIGHT; `duration_s` is the whole width."""

    path: str
    duration_s: float
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


@lru_cache(maxsize=32)
def waveform(path: Path) -> Waveform:
    """Read a take's FLAC file. Raises SoundError when it cannot be read."""
    from coldtake.listening.worker_client import waveform_overview

    small = waveform_overview(path, SLICES)
    return Waveform(drawn(small.lows, small.highs), small.duration_s)
