"""Strokes in a recording, whatever makes them: when, how loud, how surely.

Growth of the log spectrum in bands (spectral flux after S. Boeck, F. Krebs and M. Schedl,
"Evaluating the online capabilities of onset detection methods", ISMIR 2012), picked where it stands
out of its surroundings and the level rises with it. A stroke's moment is where its own envelope
first reaches a fifth of its peak: a clap's first burst, a stick's contact. Strokes nearer than
60 ms are one (a clap is several bursts; two hands are never quite together).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.ndimage import maximum_filter1d, median_filter

from coldtake.listening.features.audio_features import RATE, Floats, Samples
from coldtake.listening.keyboard.midi_performance import MidiNote
from coldtake.listening.sources.sound import Sound

WINDOW, HOP, BANDS = 256, 32, 24  # samples at RATE: 16 ms and 2 ms
STEP_S = HOP / RATE
LAG = 4  # frames between the compared spectra
ONE_S = 0.06
SURE, FAINT, DOUBTFUL = 0.9, 0.6, 0.4
RISE_DB, FAINT_RISE_DB, SURE_RISE_DB = 4.0, 6.0, 9.0  # of the level across a stroke
SHARP, SHARP_RISE_DB = 0.6, 2.0  # so great a growth needs hardly a rise: strings struck ringing
FAINT_DB, SURE_FAINT_DB = 34.0, 22.0  # below the take's usual stroke
ECHO_S, ECHO_DB = 0.3, 7.0  # so soon after a stroke and so much below it: perhaps its echo
OVER_DB, SURE_OVER_DB, FLOOR_PERCENT = 8.0, 16.0, 20.0  # over the quiet moments' level
ABOVE = 2.5  # times the surrounding growth
USUAL_PERCENT = 85.0
ENVELOPE_S, REACH_S = 0.001, 0.04
BURSTS_S = 0.015  # between the bursts of one clap
FIFTH = 0.2
LEAST_ERROR_S = 0.003


@dataclass(frozen=True, slots=True)
class Stroke:
    """One stroke. error_s : half width (95 %) of its time; confidence : SURE, FAINT or DOUBTFUL."""

    time_s: float
    error_s: float
    level_db: float
    confidence: float = SURE

    @property
    def sure(self) -> bool:
        """Whether it is clearly one of the player's, so that it may be held against them."""
        return self.confidence >= SURE


def strokes_of_keys(presses: Sequence[MidiNote], error_s: float) -> tuple[Stroke, ...]:
    """Keys or pads pressed; those pressed together are one stroke."""
    found: list[Stroke] = []
    for press in sorted(presses, key=lambda p: p.onset_s):
        if not found or press.onset_s - found[-1].time_s >= ONE_S:
            found.append(Stroke(press.onset_s, error_s, 0.0))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Strokes:
    """All strokes of a recording in order of time.

    headroom_db : how far the usual stroke stands above the faintest that would have been heard
    """

    strokes: tuple[Stroke, ...]
    headroom_db: float = 99.0


def find_strokes(sound: Sound) -> Strokes:
    """Find the strokes of a recording."""
    from scipy.signal import find_peaks  # half a second to import: only where it is used

    samples = _at_rate(sound)
    if len(samples) < 2 * WINDOW:
        return Strokes(())
    flux, level = _growth(samples)
    rise = _rise(level)
    base = median_filter(flux, size=251, mode="nearest")
    places, _ = find_peaks(flux, distance=round(ONE_S / 2 / STEP_S))
    over = _over_floor(level)
    stands = [
        int(k) for k in places
        if flux[k] > ABOVE * base[k] + 0.02 and over[k] >= OVER_DB
        and rise[k] >= (SHARP_RISE_DB if flux[k] > SHARP else RISE_DB)
    ]  # fmt: skip
    # Both say how surely it is a stroke; the smaller counts, on the scale of the rise.
    sure = np.minimum(rise, over + SURE_RISE_DB - SURE_OVER_DB)
    chosen = _chosen(_one_each([_timed(samples, k, float(sure[k])) for k in stands]))
    usual = float(np.percentile(over[stands], USUAL_PERCENT)) if stands else 0.0
    return Strokes(chosen, usual - OVER_DB)


def _over_floor(level: Floats) -> Floats:
    """Level in the 24 ms after each frame over the steady noise of the recording [dB]."""
    after = maximum_filter1d(level, 13, mode="nearest", origin=-6)
    return np.asarray(after - float(np.percentile(level, FLOOR_PERCENT)))


def _at_rate(sound: Sound) -> Samples:
    samples = sound.at(RATE)
    loudest = float(np.abs(samples).max(initial=0.0))
    return np.asarray(samples * np.float32(0.5 / max(loudest, 1e-9)), dtype=np.float32)


@lru_cache(maxsize=1)
def _bands() -> npt.NDArray[np.float32]:
    """Triangular bands on a logarithmic scale."""
    centres = np.geomspace(60.0, 7800.0, BANDS + 2)
    bins = np.fft.rfftfreq(WINDOW, 1.0 / RATE)
    width = np.maximum(np.diff(centres), RATE / WINDOW)
    up = (bins[:, None] - centres[:-2]) / width[:-1]
    down = (centres[2:] - bins[:, None]) / width[1:]
    return np.asarray(np.clip(np.minimum(up, down), 0.0, 1.0), dtype=np.float32)


def _growth(samples: Samples) -> tuple[Floats, Floats]:
    """(mean growth of the log bands, level in dB) on the clock of STEP_S."""
    padded = np.pad(samples, (WINDOW // 2, WINDOW))
    frames = np.lib.stride_tricks.sliding_window_view(padded, WINDOW)[::HOP]
    window = np.hanning(WINDOW).astype(np.float32)
    flux, level = np.zeros(len(frames)), np.zeros(len(frames))
    before = np.zeros((LAG, BANDS), np.float32)
    for start in range(0, len(frames), 2000):
        part = frames[start : start + 2000]
        spectrum = np.abs(np.fft.rfft(part * window, axis=1)).astype(np.float32)
        logs = np.log1p(20.0 * (spectrum @ _bands()))
        joined = np.concatenate([before if start else np.repeat(logs[:1], LAG, 0), logs])
        old = maximum_filter1d(joined[:-LAG], 3, axis=1)
        flux[start : start + len(part)] = np.maximum(joined[LAG:] - old, 0.0).mean(axis=1)
        middle = part[:, WINDOW // 4 : 3 * WINDOW // 4]
        level[start : start + len(part)] = 10 * np.log10((middle**2).mean(axis=1) + 1e-10)
        before = joined[-LAG:]
    return flux, level


def _rise(level: Floats) -> Floats:
    """Highest level in the 24 ms after each frame over the lowest in the 30 ms before it [dB]."""
    floor = np.maximum(level, level.max(initial=-120.0) - 70.0)
    after = maximum_filter1d(floor, 13, mode="nearest", origin=-6)
    before = -maximum_filter1d(-floor, 15, mode="nearest", origin=7)
    return np.asarray(after - before)


def _timed(samples: Samples, frame: int, rise_db: float) -> tuple[Stroke, float]:
    """The stroke near a peak of growth, and how far the level rises there."""
    size = round(ENVELOPE_S * RATE)
    low = max(frame * HOP - round(REACH_S * RATE), 0)
    part = samples[low : frame * HOP + round(REACH_S * RATE)]
    count = len(part) // size
    envelope = np.abs(part[: count * size]).reshape(count, size).max(axis=1)
    envelope = _closed(envelope)
    top = int(np.argmax(envelope))
    foot = float(np.median(envelope[: max(top // 2, 1)])) if top else 0.0
    level = (envelope - foot) / max(float(envelope[top]) - foot, 1e-9)
    at = _last_below(level, top, FIFTH)
    rise_s = (top - at) * ENVELOPE_S
    error = LEAST_ERROR_S + 0.15 * min(rise_s, REACH_S)
    loud = 20.0 * np.log10(float(envelope[top]) + 1e-9)
    return Stroke(low / RATE + at * ENVELOPE_S, error, loud), rise_db


def _closed(envelope: Floats) -> Floats:
    """The envelope without its short dips."""
    size = round(BURSTS_S / ENVELOPE_S) // 2 * 2 + 1
    return np.asarray(-maximum_filter1d(-maximum_filter1d(envelope, size), size))


def _last_below(level: Floats, top: int, share: float) -> float:
    below = np.flatnonzero(level[: top + 1] < share)
    return float(below[-1] + 1) if len(below) else 0.0


def _one_each(found: Sequence[tuple[Stroke, float]]) -> list[tuple[Stroke, float]]:
    """Of strokes nearer than ONE_S the first, with the louder level."""
    kept: list[tuple[Stroke, float]] = []
    for stroke, rise in sorted(found, key=lambda s: s[0].time_s):
        if kept and stroke.time_s - kept[-1][0].time_s < ONE_S:
            first, before = kept[-1]
            loud = max(first.level_db, stroke.level_db)
            kept[-1] = (Stroke(first.time_s, first.error_s, loud), max(before, rise))
        else:
            kept.append((stroke, rise))
    return kept


def _chosen(found: Sequence[tuple[Stroke, float]]) -> tuple[Stroke, ...]:
    """Without what is far too faint; what is rather faint stays, but is not sure."""
    if not found:
        return ()
    usual = float(np.percentile([s.level_db for s, _ in found], USUAL_PERCENT))
    heard = [(s, rise) for s, rise in found if s.level_db >= usual - FAINT_DB]
    return tuple(
        replace(s, confidence=_confidence(s, rise, usual, [b for b, _ in heard[:k]]))
        for k, (s, rise) in enumerate(heard)
    )


def _confidence(stroke: Stroke, rise_db: float, usual_db: float, before: Sequence[Stroke]) -> float:
    echo = any(
        stroke.time_s - b.time_s < ECHO_S and b.level_db > stroke.level_db + ECHO_DB
        for b in before[-4:]
    )
    if rise_db < FAINT_RISE_DB:
        return DOUBTFUL
    faint = stroke.level_db < usual_db - SURE_FAINT_DB
    return FAINT if echo or faint or rise_db < SURE_RISE_DB else SURE
