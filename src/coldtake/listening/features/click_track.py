"""The click of the page in a recording: found, timed, and taken out of it.

The click's sound is our own (`click-worklet.js`) and known to the sample, and the page says when it
was made; what a recording adds is one delay (loudspeaker, air, microphone, buffers), which differs
at every start and can step by some 20 ms in between.

Found: the recording is whitened frame by frame by linear prediction (J. Makhoul, "Linear
prediction: a tutorial review", Proc. IEEE 63, 1975), which takes held tones away and leaves what is
sudden; in it a matched filter for each click's sound gives the likelihood of a click at every
moment (H. L. Van Trees, Detection, Estimation, and Modulation Theory, part I, 1968, ch. 4: optimum
in coloured noise, phase unknown). All clicks of a take together tell one delay, or one before and
one after a step; each click's word is limited, so that one loud attack beside a click moves
nothing.

Taken out: the click as the room returns it, fitted to all clicks of the take at once.

SciPy's signal and linear algebra take half a second to import: only a take with a click does it.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from coldtake.domain.take import ClickTrack
from coldtake.listening.features.audio_features import RATE, Floats, Samples
from coldtake.listening.sources.sound import Sound

LENGTH_S, DECAY_S = 0.03, 0.006  # of the click; as in click-worklet.js
PLAIN_HZ, ACCENT_HZ, PLAIN_LEVEL = 1000.0, 1500.0, 0.7
EARLIEST_S, LATEST_S = -0.03, 0.45  # delays looked for; 78-179 ms were measured in a browser
STEP_S = 0.00025  # of the delays compared
ORDER = 24  # of the linear prediction
FRAME, HOP = 2048, 1024  # samples at RATE
BEFORE, AFTER = 128, 256  # samples at RATE around the start of a click that are compared
BAND_HZ, BAND_HALF = (500.0, 2500.0), 64  # samples; without it an attack hides a click at -10 dB
FREEDOM = 30.0  # independent values in those samples, halved: a guess, as music is not all noise
SILENCE = 1e-8  # energy below which nothing is compared
MOST_LIKELY = 25.0  # what one click can add to the place of the common delay
STEP_COST = 12.0  # likelihood that a step of the delay must gain: two clicks' at least
LEAST_CLICKS = 4
MOST_ONE = 6.0  # of a click's likelihood, where it is asked whether there are any
AHEAD = 1.3  # so far the best delay must lie ahead of the next best; without a click: up to 1.0
SPREADS, END_SPREADS = 5.0, 3.0  # and so many spreads above the others: in all, at each end
NEAR = round(0.008 / STEP_S)  # delays nearer than this are one
SAME_DELAY_S = 0.002  # at start and end: more, and the delay stepped (measured in a browser)
TAPS_BEFORE, TAPS = 6, 40  # of the room's answer to a click, samples at RATE
FINER = 3  # clicks are laid down at so many times RATE
Flags = npt.NDArray[np.bool_]
Places = npt.NDArray[np.intp]
Complexes = npt.NDArray[np.complex128]


@dataclass(frozen=True, eq=False)
class HeardClicks:
    """The clicks of one take as they lie in its recording.

    times_s, accented : shape (n,), every click that lies inside the recording, delay included
    delay_start_s, delay_end_s : from making to recording; error_s : half width (95 %)
    level_db : their peak against the loudest moment of the rest
    both_ends : heard at the start and at the end of the take
    """

    times_s: Floats
    accented: Flags
    delay_start_s: float
    delay_end_s: float
    error_s: float
    level_db: float
    both_ends: bool = True

    @property
    def steady(self) -> bool:
        """Whether one delay held from start to end, so that timing can be told against it."""
        return self.both_ends and abs(self.delay_end_s - self.delay_start_s) <= SAME_DELAY_S

    def nearest_s(self, time_s: float) -> float:
        """Seconds from a moment to the nearest click; inf without one."""
        return float(np.min(np.abs(self.times_s - time_s), initial=np.inf))


def click_sound(rate: int, *, accented: bool) -> Floats:
    """The click at volume 1, from its first sample on; shape (n,)."""
    n = np.arange(round(LENGTH_S * rate))
    hz, level = (ACCENT_HZ, 1.0) if accented else (PLAIN_HZ, PLAIN_LEVEL)
    return np.asarray(level * np.cos(2 * np.pi * hz * n / rate) * np.exp(-n / (DECAY_S * rate)))


def find_clicks(sound: Sound, track: ClickTrack) -> HeardClicks | None:
    """Find the clicks of a known track in a recording; None where they are not heard."""
    samples = sound.at(RATE)
    made, accented = _made(track, len(samples) / RATE)
    delays = np.arange(EARLIEST_S, min(LATEST_S, 0.9 * track.every_s), STEP_S)
    if track.is_guess:
        delays = np.arange(0.0, track.every_s, STEP_S)
    last_s = len(samples) / RATE - LENGTH_S
    inside = np.flatnonzero((made + delays[0] > 0) & (made + delays[-1] < last_s))
    if len(inside) < LEAST_CLICKS:
        return None
    likely = _likelihoods(samples, made[inside], accented[inside], delays, either=track.is_guess)
    path = _delays_of(likely)
    if path is None:
        return None
    return _timed(samples, (made, accented, inside), likely, path, delays)


def _timed(
    samples: Samples, clicks: tuple[Floats, Flags, Places], likely: Floats, path: Places,
    delays: Floats,
) -> HeardClicks:  # fmt: skip
    made, accented, inside = clicks
    cuts = [0, *(np.flatnonzero(np.diff(path)) + 1).tolist(), len(path)]
    first, last = slice(cuts[0], cuts[1]), slice(cuts[-2], cuts[-1])
    start, start_error = _common(likely[first], path[first], delays)
    end, end_error = _common(likely[last], path[last], delays)
    # Clicks that were not looked at have their nearest neighbour's delay.
    near = np.clip(np.searchsorted(inside, np.arange(len(made))), 0, len(inside) - 1)
    own = np.where(near < cuts[1], start, np.where(near >= cuts[-2], end, delays[path][near]))
    level = _level(samples, made + own, accented)
    error = max(start_error, end_error)
    both = _at_both_ends(likely, path)
    return HeardClicks(made + own, accented, start, end, error, level, both)


def without_clicks(sound: Sound, heard: HeardClicks) -> Sound:
    """The recording at the analysis rate, with the clicks taken out."""
    samples = sound.at(RATE).astype(np.float64)
    clicks = _clicks_as_recorded(samples, heard)
    return Sound((samples - clicks).astype(np.float32), RATE, sound.remarks)


def _made(track: ClickTrack, length_s: float) -> tuple[Floats, Flags]:
    """When the clicks were made, seconds of the recording, and which of them are accented."""
    first = max(0, int(np.floor(-(track.first_s + LATEST_S) / track.every_s)))
    last = int(np.floor((length_s - track.first_s) / track.every_s))
    if track.count is not None:
        last = min(last, track.count - 1)
    k = np.arange(first, last + 1)
    accented: Flags = np.zeros(len(k), np.bool_)
    if track.per_bar > 0:
        accented = np.asarray((k - track.accent) % track.per_bar == 0)
    return np.asarray(track.first_s + k * track.every_s, dtype=np.float64), accented


def _likelihoods(
    samples: Samples, made: Floats, accented: Flags, delays: Floats, *, either: bool
) -> Floats:
    """Log likelihood gained by a click at each delay, shape (clicks, delays); chance is 1."""
    curves = [_matched(samples, accented=a) for a in (False, True)]
    if either:
        curves = [np.maximum(*curves)] * 2
    at = made[:, None] + delays[None, :]
    clock = np.arange(len(samples)) / RATE
    rows = [np.interp(t, clock, curves[int(a)]) for t, a in zip(at, accented, strict=True)]
    return np.asarray(np.minimum(np.array(rows), MOST_LIKELY), dtype=np.float64)


def _matched(samples: Samples, *, accented: bool) -> Floats:
    """Log likelihood gained by a click that begins at each sample."""
    from scipy.signal import hilbert

    shape = np.asarray(hilbert(click_sound(RATE, accented=accented)), dtype=np.complex128)
    padded = np.pad(samples.astype(np.float64), (FRAME, FRAME + HOP))
    out = np.zeros(len(padded))
    weight = np.zeros(len(padded))
    fade = np.hanning(FRAME + 2)[1:-1]
    for start in range(0, len(padded) - FRAME - len(shape), HOP):
        z = _matched_frame(padded[start : start + FRAME + len(shape)], shape)
        out[start : start + FRAME] += fade * z
        weight[start : start + FRAME] += fade
    return (out / np.maximum(weight, 1e-9))[FRAME : FRAME + len(samples)]


def _matched_frame(frame: Floats, shape: Complexes) -> Floats:
    """Log likelihood ratio of "a click begins here" against noise of unknown strength.

    The click's whitened shape is compared with the 8 ms before and 16 ms after each sample: of the
    energy there, the share that the click explains decides (generalised likelihood ratio). Without
    the time before, the tail of a click, which has the same shape, would do as well.
    """
    from scipy.signal import fftconvolve

    predictor = _whitener(frame)
    white = fftconvolve(frame, predictor)[: len(frame)]
    white[:ORDER] = 0.0
    white = fftconvolve(white, _band())[BAND_HALF:][: len(frame)]
    known = fftconvolve(fftconvolve(shape[:AFTER], predictor), _band())
    known = np.concatenate([np.zeros(BEFORE - BAND_HALF), known[: BAND_HALF + AFTER]])
    power = float(np.vdot(known, known).real) / 2.0
    out = fftconvolve(white, np.conj(known[::-1]))[len(known) - 1 :]
    energy = fftconvolve(white**2, np.ones(len(known)))[len(known) - 1 :]
    share = np.abs(out) ** 2 / (power * (np.maximum(energy, 0.0) + SILENCE))
    gained = -FREEDOM * np.log(1.0 - np.clip(share, 0.0, 0.999))
    return np.asarray(np.concatenate([np.zeros(BEFORE), gained])[:FRAME])


@lru_cache(maxsize=1)
def _band() -> Floats:
    """Lets the click pass, and little of the noise of an attack that sounds with it."""
    from scipy.signal import firwin

    return np.asarray(firwin(2 * BAND_HALF + 1, BAND_HZ, fs=RATE, pass_zero=False))


def _whitener(frame: Floats) -> Floats:
    """Prediction error filter of one frame, shape (ORDER + 1,)."""
    from scipy.linalg import LinAlgError, solve_toeplitz

    cut = frame * np.hanning(len(frame))
    power = np.abs(np.fft.rfft(cut, 2 * len(cut))) ** 2
    lags = np.fft.irfft(power)[: ORDER + 1]
    lags[0] = lags[0] * 1.0001 + 1e-9
    try:
        ahead = solve_toeplitz(lags[:-1], lags[1:])
    except LinAlgError:
        ahead = np.zeros(ORDER)
    return np.concatenate([[1.0], -ahead])


def _delays_of(likely: Floats) -> Places | None:
    """Delay of every click: one for all, or one before and one after a step; None if not heard."""
    count = len(likely)
    capped = np.minimum(likely, MOST_ONE)
    ahead = np.cumsum(capped, axis=0)
    one = int(np.argmax(ahead[-1]))
    before, after = ahead.max(axis=1), (ahead[-1] - ahead).max(axis=1)
    at = np.arange(LEAST_CLICKS, count - LEAST_CLICKS + 1)
    if len(at):
        k = int(at[np.argmax(before[at - 1] + after[at - 1])])
        first, last = int(np.argmax(ahead[k - 1])), int(np.argmax(ahead[-1] - ahead[k - 1]))
        gain = before[k - 1] + after[k - 1] - ahead[-1, one]
        if gain > STEP_COST and _stands_out(capped[:k], first) and _stands_out(capped[k:], last):
            return np.where(np.arange(count) < k, first, last)
    return np.full(count, one) if _stands_out(capped, one) else None


def _stands_out(capped: Floats, at: int) -> bool:
    """Whether these clicks agree on one delay more than on any other of the same take."""
    total = capped.sum(axis=0)
    far = np.ones(len(total), bool)
    far[max(at - NEAR, 0) : at + NEAR + 1] = False
    if not far.any():
        return False
    rest = total[far]
    lead = (float(total[at]) - float(rest.max())) / np.sqrt(len(capped))
    return bool(lead > AHEAD and total[at] > rest.mean() + SPREADS * rest.std())


def _at_both_ends(likely: Floats, path: Places) -> bool:
    """Whether both halves of the take by themselves speak for the delay that they were given."""
    half = len(path) // 2
    for part in (slice(0, half), slice(half, None)):
        total = np.minimum(likely[part], MOST_ONE).sum(axis=0)
        gained = float(
            np.minimum(likely[part], MOST_ONE)[np.arange(len(path[part])), path[part]].sum()
        )
        if gained < total.mean() + END_SPREADS * total.std():
            return False
    return True


def _common(likely: Floats, path: Places, delays: Floats) -> tuple[float, float]:
    """The one delay of some clicks, and its half width (95 %) from their own scatter [s]."""
    middle = int(np.bincount(path).argmax())
    reach = round(0.004 / STEP_S)
    low, high = max(middle - reach, 0), min(middle + reach + 1, likely.shape[1])
    window = likely[:, low:high].sum(axis=0)
    best = int(np.argmax(window))
    at = float(delays[low + best])
    if 0 < best < len(window) - 1:
        a, b, c = window[best - 1 : best + 2]
        bend = a - 2.0 * b + c
        at += 0.5 * STEP_S * float((a - c) / bend) if bend < 0 else 0.0
    own = delays[low + np.argmax(likely[:, low:high], axis=1)]
    spread = float(np.median(np.abs(own - at))) / 0.6745
    return at, 2.0 * spread / float(np.sqrt(len(own))) + STEP_S


def _clicks_as_recorded(samples: Floats, heard: HeardClicks) -> Floats:
    """Every click with the room's answer, fitted by least squares to all of them at once."""
    columns = _columns(len(samples), heard)
    answer = _room_answer(samples, columns, heard)
    return np.asarray(np.convolve(columns, answer)[TAPS_BEFORE : TAPS_BEFORE + len(samples)])


def _columns(length: int, heard: HeardClicks) -> Floats:
    """The clicks as made, at their times in the recording, to a third of a sample."""
    from scipy.signal import resample_poly

    fine = np.zeros(FINER * length)
    for time, accented in zip(heard.times_s, heard.accented, strict=True):
        shape = click_sound(FINER * RATE, accented=bool(accented))
        at = round(time * FINER * RATE)
        if at >= 0:
            part = fine[at : at + len(shape)]
            part += shape[: len(part)]
    return np.asarray(resample_poly(fine, 1, FINER))


def _room_answer(samples: Floats, columns: Floats, heard: HeardClicks) -> Floats:
    """Taps of the room's answer, in whitened frames, so that held notes do not leak into it."""
    normal = np.zeros((TAPS, TAPS))
    right = np.zeros(TAPS)
    span = round(LENGTH_S * RATE) + TAPS
    for time in heard.times_s:
        low = round(time * RATE) - TAPS - ORDER
        if low < ORDER + 256 or low + span + 512 > len(samples):
            continue
        around = samples[low - 256 : low + span + 512]
        predictor = _whitener(around)
        part = slice(low, low + span + ORDER)
        white = np.convolve(samples[part], predictor)[ORDER:-ORDER]
        known = np.convolve(columns[part.start - TAPS : part.stop + TAPS], predictor)
        rows = np.stack(
            [known[TAPS + ORDER + TAPS_BEFORE - j :][: len(white)] for j in range(TAPS)], axis=1
        )
        noise = (float(np.median(np.abs(white))) / 0.6745) ** 2 + 1e-14
        normal += rows.T @ rows / noise
        right += rows.T @ white / noise
    ridge = 1e-3 * float(np.trace(normal)) / TAPS + 1e-12
    return np.asarray(np.linalg.solve(normal + ridge * np.eye(TAPS), right))


def _level(samples: Samples, times_s: Floats, accented: Flags) -> float:
    """Peak of the clicks against the loudest moment of the rest [dB]."""
    heard = HeardClicks(times_s, accented, 0.0, 0.0, 0.0, 0.0)
    clicks = _clicks_as_recorded(samples.astype(np.float64), heard)
    rest = float(np.abs(samples - clicks).max(initial=0.0))
    return float(
        20.0 * np.log10(max(float(np.abs(clicks).max(initial=0.0)), 1e-9) / max(rest, 1e-9))
    )
