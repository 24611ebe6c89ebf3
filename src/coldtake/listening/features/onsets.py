"""Where exactly a note begins and ends.

An onset is defined by the note's own rise: the moment halfway between the times at which its
envelope first passes 10 % and 50 % of the peak of its attack (the first 250 ms). For struck and
plucked notes that is the stroke, within a millisecond or two; for a slow bow or breath it lies
where a listener begins to hear the tone.

The envelope is that of the new note alone: the magnitude of those parts of the spectrum which grow
across the boundary, so that the dying note before it does not blur it. The window is 32 ms at
first; where the rise proves too fast for it, 12 ms and then 4 ms.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.fft import rfft

from coldtake.listening.features.audio_features import (
    FINE_STEP_S,
    RATE,
    AudioFeatures,
    Floats,
    Samples,
)
from coldtake.listening.features.score_informed_nmf import STEP_RISE_S, STEP_S, PitchActivations

BEFORE_S, AFTER_S = 0.10, 0.24
TEN, FIFTY = 0.10, 0.50
ATTACK_S = 0.25


@dataclass(frozen=True)
class _Zoom:
    """One window length with the rise time (10-50 %) that a sudden step shows through it."""

    window: int
    hop: int
    step_rise_s: float


# A step seen through a Hann window of W samples passes 10 % at 0.235 W before it passes 50 %.
ZOOMS = tuple(_Zoom(w, h, 0.235 * w / RATE) for w, h in ((512, 32), (192, 16), (64, 8)))
STRUCK, SHARP_RISE_S = 0.9, 0.012  # a stroke this clear is placed by its own short windows
AGREE_S = 0.015
UNSEEN_S = 0.1
LOOK_BACK_S = 0.3
SHARP = 1.6  # times the step's own rise: below that the window hides the rise


@dataclass(frozen=True)
class Onset:
    """onset_s by the definition above; rise_s its 10-50 % rise time [s].

    error_s : half width (95 %) within which the onset is known, as measured on rendered takes
    """

    onset_s: float
    rise_s: float
    error_s: float = 0.02


@dataclass(frozen=True)
class Own:
    """Where to look for the new tone's own envelope; since_s : when the tone before it began."""

    tones: PitchActivations
    pitch: int
    since_s: float


def refine_onset(
    hearing: AudioFeatures,
    near_s: float,
    stop_s: float,
    own: Own | None = None,
    attack: float = 1.0,
) -> Onset:
    """Find the onset near a boundary; the note lasts until about stop_s.

    own : what the new tone alone looks like, where it is known; attack : 0..1, how sure it is
    """
    fine = _at_peak_of_growth(hearing, near_s)
    found = _rise(hearing.samples, fine, stop_s, ZOOMS[0])
    for zoom, coarser in zip(ZOOMS[1:], ZOOMS, strict=False):
        if found is None or found.rise_s > SHARP * coarser.step_rise_s:
            break
        closer = _rise(hearing.samples, found.onset_s + 0.5 * found.rise_s, stop_s, zoom)
        if closer is None or abs(closer.onset_s - found.onset_s) > 0.02:
            break
        found = closer
    if found is not None and attack >= STRUCK and found.rise_s < SHARP_RISE_S:
        return replace(found, error_s=0.004 + 0.5 * found.rise_s)
    slow = None if own is None else _own_rise(hearing, own, near_s, stop_s)
    if slow is not None and found is not None and abs(slow.onset_s - found.onset_s) <= AGREE_S:
        middle, rise = 0.5 * (slow.onset_s + found.onset_s), min(slow.rise_s, found.rise_s)
        return Onset(middle, rise, 0.006 + 0.3 * rise)
    if slow is not None:
        return replace(slow, error_s=0.01 + 0.4 * slow.rise_s)
    if found is None:
        return Onset(near_s, 0.02, 0.05)
    doubt = UNSEEN_S * (1.0 - attack)  # nothing else says where it began
    return replace(found, error_s=0.006 + 0.4 * found.rise_s + doubt)


def _own_rise(hearing: AudioFeatures, own: Own, near_s: float, stop_s: float) -> Onset | None:
    """The rise of the new tone's own envelope (own_tones) near a boundary; None without one."""
    first_s = max(own.since_s, near_s - LOOK_BACK_S, 0.0)
    last_s = min(max(stop_s - 0.02, near_s + 0.06), near_s + 0.12 + ATTACK_S)
    curve = own.tones.envelope(hearing.samples, own.pitch, first_s, last_s)
    first = round(first_s / STEP_S)
    at = round((near_s - first * STEP_S) / STEP_S)
    ahead, attack = at + round(0.12 / STEP_S), round(ATTACK_S / STEP_S)
    for _ in range(4):  # the attack's peak lies within ATTACK_S of where the rise began
        low = max(min(at, ahead) - 8, 0)
        top = low + int(np.argmax(curve[low : max(ahead, low + 1)]))
        foot = float(curve[: top + 1].min(initial=np.inf))
        begun = np.flatnonzero(curve[:top] < foot + 0.05 * (curve[top] - foot))
        if not len(begun):
            return None
        start = int(begun[-1])
        if start + attack >= ahead and ahead >= min(start + attack, len(curve)):
            break
        ahead = start + attack
    return rise_to(curve[start : top + 1], STEP_S, (first + start) * STEP_S)


def attack_in(curve: Floats, step_s: float, start_s: float) -> Onset:
    """The onset of an envelope that first swells from its first value towards its last."""
    start, attack = 0, round(ATTACK_S / step_s)
    for _ in range(4):
        peak = float(curve[start : start + attack].max())
        begun = np.flatnonzero(curve[: start + attack] >= curve[0] + 0.05 * (peak - curve[0]))
        if not len(begun) or begun[0] <= start:
            break
        start = int(begun[0])
    start = max(start - 1, 0)
    top = start + int(np.argmax(curve[start : start + attack]))
    return rise_to(curve[start : top + 1], step_s, start_s + start * step_s)


def rise_to(curve: Floats, step_s: float, start_s: float) -> Onset:
    """The onset of an envelope that rises from its first value to its last."""
    if len(curve) < 2:
        return Onset(start_s, 0.0)
    level = (curve - curve[0]) / max(curve[-1] - curve[0], 1e-9)
    fifty = _last_below(level, len(level) - 1, FIFTY)
    ten = _last_below(level, int(fifty), TEN)
    rise = np.sqrt(max(((fifty - ten) * step_s) ** 2 - STEP_RISE_S**2, 0.0))
    return Onset(float(start_s + fifty * step_s - 0.5 * rise), float(rise))


def _at_peak_of_growth(hearing: AudioFeatures, near_s: float) -> float:
    at, reach = round(near_s / FINE_STEP_S), 8
    low, high = max(at - reach, 0), min(at + reach + 1, len(hearing.flux))
    if high <= low:
        return near_s
    return (low + int(np.argmax(hearing.flux[low:high]))) * FINE_STEP_S


def _rise(samples: Samples, near_s: float, stop_s: float, zoom: _Zoom) -> Onset | None:
    """The rise around `near_s` through one window; None where nothing grows."""
    after_s = min(AFTER_S, max(stop_s - near_s, 0.05))
    start = round((near_s - BEFORE_S) * RATE)
    stop = round((near_s + after_s) * RATE)
    spectra = _spectra(samples, start, stop, zoom)
    step_s = zoom.hop / RATE
    at = round(BEFORE_S / step_s)
    curve = _growth_curve(spectra, at, zoom)
    if curve is None:
        return None
    found = _crossings(curve, at, step_s)
    if found is None:
        return None
    ten, fifty = found
    rise = np.sqrt(max((fifty - ten) ** 2 - (zoom.step_rise_s / step_s) ** 2, 0.0)) * step_s
    middle = start / RATE + fifty * step_s
    return Onset(float(middle - 0.5 * rise), float(rise))


def _spectra(samples: Samples, start: int, stop: int, zoom: _Zoom) -> Floats:
    """Magnitudes, shape (frames, bins); frame k is centred at start + k * hop."""
    half = zoom.window // 2
    low, high = start - half, stop + half
    cut = samples[max(low, 0) : min(high, len(samples))]
    cut = np.pad(cut, (max(-low, 0), max(high - len(samples), 0)))
    frames = np.lib.stride_tricks.sliding_window_view(cut, zoom.window)[:: zoom.hop]
    window = np.hanning(zoom.window).astype(np.float32)
    found = rfft(frames * window, axis=1)
    return np.asarray(np.sqrt(found.real**2 + found.imag**2), dtype=np.float64)


def _growth_curve(spectra: Floats, at: int, zoom: _Zoom) -> Floats | None:
    """How far the growing part of the spectrum has grown: weights are the growth itself."""
    per_ms = RATE / 1000.0 / zoom.hop
    clear = round(0.4 * zoom.window / zoom.hop)
    before = spectra[max(at - clear - round(20 * per_ms), 0) : max(at - clear, 1)].mean(axis=0)
    after = spectra[min(at + clear // 2, len(spectra) - 2) : at + clear + round(40 * per_ms)]
    growth = np.maximum(after.mean(axis=0) - 1.2 * before, 0.0)
    total = float(growth @ growth)
    if total <= 1e-12:
        return None
    return np.asarray(spectra @ growth / total)


def _crossings(curve: Floats, at: int, step_s: float) -> tuple[float, float] | None:
    """Fractional frames of the 10 % and 50 % crossings that lead up to the attack's peak."""
    reach = round(0.02 / step_s)
    low = max(at - 3 * reach, 0)
    tail = curve[max(at - reach, 0) :]
    if len(tail) < 3:
        return None
    peak = float(tail.max())
    top = max(at - reach, 0) + int(np.argmax(tail >= 0.85 * peak))
    foot = float(curve[low : top + 1].min())
    if peak - foot <= 1e-9:
        return None
    level = (curve - foot) / (peak - foot)
    fifty = _last_below(level, top, FIFTY)
    ten = _last_below(level, int(fifty), TEN)
    return ten, fifty


def _last_below(level: Floats, top: int, share: float) -> float:
    """Where, going back from `top`, the level is last below a share; between frames."""
    below = np.flatnonzero(level[: top + 1] < share)
    if not len(below):
        return 0.0
    k = int(below[-1])
    if k + 1 >= len(level) or level[k + 1] <= level[k]:
        return float(k)
    return k + float((share - level[k]) / (level[k + 1] - level[k]))


def find_offset(
    hearing: AudioFeatures, onset_s: float, stop_s: float, drop_db: float = 20.0
) -> float:
    """Where the note has fallen `drop_db` below its loudest, or the next one begins [s]."""
    low = max(round(onset_s / FINE_STEP_S), 0)
    high = min(round(stop_s / FINE_STEP_S), len(hearing.fine_db))
    level = hearing.fine_db[low:high]
    if len(level) < 3:
        return stop_s
    top = int(np.argmax(level))
    under = np.flatnonzero(level[top:] < level[top] - drop_db)
    return float((low + top + under[0]) * FINE_STEP_S) if len(under) else stop_s
