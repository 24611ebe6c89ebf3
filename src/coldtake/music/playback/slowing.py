"""A recording slower or faster at its own pitch.

FFmpeg's `atempo` filter does the work (FFmpeg Filters Documentation, section "atempo"): it lays
short windows of the sound over each other where they match best. What it puts out lies a little
early, by about half a window; that is measured once for each rate and speed on a burst of noise and
taken off, so that what is asked for is what is heard, to a few milliseconds.
"""

from collections.abc import Iterator
from fractions import Fraction
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]
SLOWEST, FASTEST = 0.4, 1.2
_STAGE_LEAST = 0.5  # what one atempo filter does
_BLOCK = 4096
_FADE_S = 0.004  # at both ends, so that a loop has no click at its seam
_PROBE_S = 0.5


def slowed(
    samples: Samples, rate: int, speed: float, first_s: float = 0.0, last_s: float | None = None
) -> Samples:
    """The sound between two instants at another speed, float32 mono.

    samples : float32 mono, finite; rate : 8000 to 192000 [Hz]; speed : SLOWEST to FASTEST, 1 as
    played; first_s, last_s : 0 <= first_s < last_s <= length [s]. What lies around them is used for
    a clean start and end. Exactly round((last_s - first_s) / speed * rate) samples.
    """
    end_s = samples.size / rate if last_s is None else last_s
    _require(samples, rate, speed, first_s, end_s)
    whole = samples if speed == 1 else _stretched(samples, rate, speed)
    early = 0 if speed == 1 else _early(rate, speed)
    wanted = round((end_s - first_s) / speed * rate)
    start = round(first_s / speed * rate) - early
    found = np.zeros(wanted, dtype=np.float32)
    part = whole[max(start, 0) : max(start + wanted, 0)]
    at = max(-start, 0)
    found[at : at + part.size] = part[: wanted - at]
    return _faded(found, rate)


def _require(samples: Samples, rate: int, speed: float, first_s: float, last_s: float) -> None:
    if not SLOWEST <= speed <= FASTEST:
        raise ValueError(f"speed {speed} must be {SLOWEST} to {FASTEST}")
    if not 8_000 <= rate <= 192_000:
        raise ValueError(f"rate {rate} Hz must be 8000 to 192000")
    if not 0 <= first_s < last_s <= samples.size / rate + 1e-3:
        raise ValueError(f"{first_s} s to {last_s} s do not lie in {samples.size / rate:.3f} s")


def _stages(speed: float) -> Iterator[float]:
    """Speeds of the filters in a row: no stage is slower than one filter can be."""
    if speed < _STAGE_LEAST:
        yield from (speed**0.5, speed**0.5)
    else:
        yield speed


def _stretched(samples: Samples, rate: int, speed: float) -> Samples:
    import av
    from av.filter import Graph

    graph = Graph()
    source = graph.add_abuffer(
        sample_rate=rate, format="flt", layout="mono", time_base=Fraction(1, rate)
    )
    filters = [source, *(graph.add("atempo", f"{one:.8f}") for one in _stages(speed))]
    sink = graph.add("abuffersink")
    for before, after in zip(filters, [*filters[1:], sink], strict=True):
        before.link_to(after)
    graph.configure()
    found: list[Samples] = []

    def pull() -> None:
        while True:
            try:
                frame = sink.pull()
            except (av.BlockingIOError, av.EOFError):
                return
            if isinstance(frame, av.AudioFrame):
                found.append(frame.to_ndarray().reshape(-1))

    for start in range(0, samples.size, _BLOCK):
        block = np.ascontiguousarray(samples[start : start + _BLOCK]).reshape(1, -1)
        sound = av.AudioFrame.from_ndarray(block, format="flt", layout="mono")
        sound.sample_rate = rate
        sound.pts = start
        source.push(sound)
        pull()
    source.push(None)
    pull()
    return np.concatenate(found) if found else np.zeros(0, dtype=np.float32)


@lru_cache(maxsize=64)
def _early(rate: int, speed: float) -> int:
    """By how many samples the output lies early: bursts of noise, where each comes out."""
    gap = round(_PROBE_S * rate)
    burst = np.zeros(gap * 8, dtype=np.float32)
    noise = np.random.default_rng(3).standard_normal(round(0.004 * rate)).astype(np.float32)
    for place in range(1, 8):
        burst[place * gap : place * gap + noise.size] = 0.2 * noise
    out = np.abs(_stretched(burst, rate, speed))
    late: list[float] = []
    for place in range(2, 7):
        ideal = round(place * gap / speed)
        near = out[ideal - gap // 2 : ideal + gap // 2]
        late.append(int(np.argmax(near > 0.3 * near.max())) - gap // 2)
    return -round(float(np.median(late)))


def _faded(samples: Samples, rate: int) -> Samples:
    size = min(round(_FADE_S * rate), samples.size // 2)
    if size:
        rise = np.linspace(0, 1, size, dtype=np.float32)
        samples[:size] *= rise
        samples[-size:] *= rise[::-1]
    return samples
