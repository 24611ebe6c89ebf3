"""One line of which nothing is known: from pitch track and attacks to notes.

A path through the semitones and silence of least cost, found exactly by dynamic programming (after
M. Ryynaenen and A. Klapuri, "Modelling of note events for singing transcription", SAPA 2004: note
models joined by a network; the costs here are our own, chosen on the tuning bank). A note costs
something to begin, less where an attack is heard. Where the same pitch is struck anew within a
note, the attack divides it. Onsets are those of `onsets`, offsets where the tone has died away.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from coldtake.listening.features.audio_features import (
    FINE_STEP_S,
    PITCH_STEP_S,
    AudioFeatures,
    Floats,
)
from coldtake.listening.features.onset_strength import attack_strength
from coldtake.listening.features.onsets import Own, find_offset, refine_onset
from coldtake.listening.features.score_informed_nmf import Stretch, learn
from coldtake.listening.features.tones import lower_octave_sounds
from coldtake.listening.improvised.notes import ImprovisedNote

Ints = npt.NDArray[np.intp]
BEGIN, BEGIN_STRUCK = 5.0, 1.0  # cost of a note without and with an attack
OFF_PITCH = 2.0  # cost of a semitone off, for a sure frame
FARTHEST = 2.0  # semitones; what lies farther costs the same
QUIET_DB, QUIET_COST = 32.0, 0.15  # below the take's loud frames; per dB
STRUCK, STRUCK_AGAIN = 0.5, 0.82  # an attack; one that divides a note
AGAIN_S, BEFORE_END_S = 0.075, 0.05  # within a note, an attack so far from its start and its end
SHORTEST_S = 0.045
LEARNT_S = 0.12  # a span from which the look of its pitch is learnt
SLOW_REACH_S = 0.15
REACH_S = 0.06  # an attack this near to a change of pitch is the note's
OWN_S = 0.04  # an attack this near to a span's start is its own
SCRAP_S, SHORT_SCRAP_S = 0.14, 0.085
GOES_ON_S = 0.1  # a tone lost for so long and found again without an attack is one
NEXT_S = 0.05
OVERTONES = (12, 19, 24)  # semitones
LEAST_OCTAVE = 60.0  # below, partials stand too near to each other in so short a time
ASTRAY = 0.32  # semitones off the take's own tuning: between two notes
SAFE_SHARE = 0.5  # of a note's frames in which its pitch is heard


@dataclass(frozen=True, eq=False)
class Transcript:
    """notes : by onset; tuning : the take's own, in semitones above A4 = 440 Hz."""

    notes: tuple[ImprovisedNote, ...]
    tuning: float


def transcribe(hearing: AudioFeatures) -> Transcript:
    """Find the notes of one line."""
    from scipy.signal import find_peaks  # half a second to import: only where it is used

    if not hearing.voiced.any():
        return Transcript((), 0.0)
    tuning = own_tuning(hearing)
    strength = attack_strength(hearing)
    spans = _spans(hearing, strength, tuning)
    peaks, _ = find_peaks(strength, height=STRUCK, distance=round(0.05 / FINE_STEP_S))
    struck_s: Floats = np.asarray(peaks * FINE_STEP_S, dtype=np.float64)
    again_s = struck_s[strength[peaks] >= STRUCK_AGAIN]
    divided = [part for span in spans for part in _divided(span, again_s)]
    whole = _whole(divided, struck_s)
    return Transcript(tuple(_timed(hearing, whole, strength, struck_s, tuning)), tuning)


def own_tuning(hearing: AudioFeatures) -> float:
    """How far the take's semitones stand from A4 = 440 Hz: the circular mean, -0.5..0.5."""
    pitch = hearing.pitch[hearing.voiced]
    return float(np.angle(np.exp(2j * np.pi * pitch).mean()) / (2.0 * np.pi))


@dataclass(frozen=True, slots=True)
class _Span:
    """A stretch of one pitch, seconds; struck : it begins with an attack."""

    start_s: float
    stop_s: float
    pitch: int


def _costs(hearing: AudioFeatures, tuning: float) -> tuple[Floats, int]:
    """Cost of each semitone at each frame, shape (frames, semitones), and the lowest of them."""
    heard = hearing.pitch - tuning
    voiced = heard[hearing.voiced]
    low, high = int(np.floor(voiced.min())) - 1, int(np.ceil(voiced.max())) + 1
    steps = np.arange(low, high + 1)
    sure = np.clip(hearing.confidence, 0.01, 0.99)
    off = np.minimum(np.abs(heard[:, None] - steps[None, :]), FARTHEST)
    loud = float(np.percentile(hearing.level_db[hearing.voiced], 80))
    quiet = QUIET_COST * np.maximum(loud - QUIET_DB - hearing.level_db, 0.0)
    alone = quiet - np.log(sure / (1.0 - sure))
    return OFF_PITCH * sure[:, None] * off + alone[:, None], low


def _spans(hearing: AudioFeatures, strength: Floats, tuning: float) -> list[_Span]:
    costs, low = _costs(hearing, tuning)
    path = _path(costs, _begin_costs(strength, len(costs)))
    edges = np.flatnonzero(np.diff(path)) + 1
    cuts = [0, *edges.tolist(), len(path)]
    return [
        _Span((a - 0.5) * PITCH_STEP_S, (b - 0.5) * PITCH_STEP_S, low + int(path[a]))
        for a, b in pairwise(cuts)
        if path[a] >= 0
    ]


def _begin_costs(strength: Floats, frames: int) -> Floats:
    """What it costs to begin a note at each frame."""
    reach = round(0.024 / FINE_STEP_S)
    at = np.round(np.arange(frames) * PITCH_STEP_S / FINE_STEP_S).astype(int)
    padded = np.pad(strength, (reach, reach + max(int(at[-1]) + 1 - len(strength), 0)))
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1).max(axis=1)
    near = around[np.minimum(at, len(around) - 1)]
    return np.asarray(BEGIN + (BEGIN_STRUCK - BEGIN) * near)


def _path(costs: Floats, begin: Floats) -> Ints:
    """The semitone (counted from 0) at each frame, -1 for silence."""
    frames, steps = costs.shape
    came = np.empty((frames, steps), np.intp)  # the state before: itself, another, or -1
    quiet_from = np.empty(frames, np.intp)
    total, silent = costs[0] + begin[0], 0.0
    for t in range(1, frames):
        best = int(np.argmin(total))
        least = min(float(total[best]), silent)
        source = best if total[best] <= silent else -1
        stay = total <= least + begin[t]
        came[t] = np.where(stay, np.arange(steps), source)
        quiet_from[t] = source
        total = np.where(stay, total, least + begin[t]) + costs[t]
        silent = least
    state = int(np.argmin(total)) if total.min() < silent else -1
    path = np.empty(frames, np.intp)
    for t in range(frames - 1, -1, -1):
        path[t] = state
        if t:
            state = int(came[t, state]) if state >= 0 else int(quiet_from[t])
    return path


def _divided(span: _Span, struck_s: Floats) -> list[_Span]:
    """A span cut where its pitch is struck again."""
    inside = struck_s[(struck_s > span.start_s + AGAIN_S) & (struck_s < span.stop_s - BEFORE_END_S)]
    cuts = [span.start_s, *inside.tolist(), span.stop_s]
    return [_Span(a, b, span.pitch) for a, b in pairwise(cuts)]


def _whole(spans: Sequence[_Span], struck_s: Floats) -> list[_Span]:
    """Spans without the scraps at a note's start and end.

    At an attack the pitch detector may still hear the note before, or an octave, and change over
    without another attack: such a scrap belongs to the note that follows. Where a note dies away
    it may leap by an octave or a twelfth: that belongs to the note before.
    """
    found: list[_Span] = []
    for span in spans:
        before = found[-1] if found else None
        struck = _is_struck(span, struck_s)
        if before and _goes_on(before, span) and not struck:
            found[-1] = _Span(before.start_s, span.stop_s, span.pitch)
        elif before is None or span.start_s - before.stop_s > 0.02 or struck:
            found.append(span)
        elif _is_scrap(found, span, struck_s):
            found[-1] = _Span(before.start_s, span.stop_s, span.pitch)
        elif abs(span.pitch - before.pitch) in OVERTONES:
            found[-1] = _Span(before.start_s, span.stop_s, before.pitch)
        else:
            found.append(span)
    return [
        span for k, span in enumerate(found) if not _is_overtone(k, found, struck_s)
    ]  # fmt: skip


def _goes_on(before: _Span, span: _Span) -> bool:
    return span.pitch == before.pitch and span.start_s - before.stop_s < GOES_ON_S


def _is_overtone(k: int, spans: Sequence[_Span], struck_s: Floats) -> bool:
    """Whether a scrap without an attack is only an octave or twelfth of a neighbour."""
    span = spans[k]
    if span.stop_s - span.start_s > SCRAP_S or _is_struck(span, struck_s):
        return False
    beside = [spans[j] for j in (k - 1, k + 1) if 0 <= j < len(spans)]
    return any(
        abs(span.pitch - b.pitch) in OVERTONES
        and max(b.start_s - span.stop_s, span.start_s - b.stop_s) < NEXT_S
        for b in beside
    )


def _is_struck(span: _Span, struck_s: Floats) -> bool:
    return bool(np.min(np.abs(struck_s - span.start_s), initial=np.inf) < OWN_S)


def _is_scrap(found: Sequence[_Span], span: _Span, struck_s: Floats) -> bool:
    """Whether the last one found is only the start of `span`."""
    before = found[-1]
    length = before.stop_s - before.start_s
    if length > SCRAP_S or not _is_struck(before, struck_s):
        return False
    rings = len(found) > 1 and found[-2].pitch == before.pitch
    overtone = abs(span.pitch - before.pitch) in OVERTONES
    return length < SHORT_SCRAP_S or overtone or rings


def _timed(
    hearing: AudioFeatures,
    spans: Sequence[_Span],
    strength: Floats,
    struck_s: Floats,
    tuning: float,
) -> list[ImprovisedNote]:
    """Spans with their exact beginnings and ends; what is too short to be a note is dropped."""
    starts = _starts(hearing, spans, strength, struck_s)
    found = []
    for k, span in enumerate(spans):
        follows = starts[k + 1] if k + 1 < len(spans) else hearing.duration_s
        joined = k + 1 < len(spans) and spans[k + 1].start_s - span.stop_s < 0.03
        stop = min(follows, find_offset(hearing, starts[k], follows if joined else span.stop_s))
        if stop - starts[k] >= SHORTEST_S:
            pitch = span.pitch + _octave(hearing, starts[k], stop, span.pitch + tuning)
            found.append(ImprovisedNote(starts[k], stop, pitch, _is_sure(hearing, span, tuning)))
    return found


def _starts(
    hearing: AudioFeatures, spans: Sequence[_Span], strength: Floats, struck_s: Floats
) -> list[float]:
    """Onsets: by the attack, or where a slow tone's own envelope rises (`own_tones`)."""
    long = [Stretch(s.pitch, s.start_s, s.stop_s) for s in spans if s.stop_s - s.start_s > LEARNT_S]
    tones = learn(hearing.samples, long, {s.pitch for s in spans})
    starts: list[float] = []
    for k, span in enumerate(spans):
        near = struck_s[np.abs(struck_s - span.start_s) < REACH_S]
        at = float(near[np.argmin(np.abs(near - span.start_s))]) if len(near) else span.start_s
        since = starts[-1] if starts else 0.0
        again = k > 0 and spans[k - 1].pitch == span.pitch
        own = None
        if tones is not None and span.pitch in tones.pitches and not again:
            own = Own(tones, span.pitch, since)
        attack = float(strength[_around(at, len(strength))].max(initial=0.0))
        onset = refine_onset(hearing, at, max(span.stop_s, at + 0.06), own, attack).onset_s
        reach = REACH_S if own is None else SLOW_REACH_S
        fits = abs(onset - at) < reach and onset > since + 0.5 * SHORTEST_S
        starts.append(onset if fits else at)
    return starts


def _around(at_s: float, count: int) -> slice:
    """Places of the fine clock within 12 ms."""
    k, reach = round(at_s / FINE_STEP_S), round(0.012 / FINE_STEP_S)
    return slice(max(k - reach, 0), min(k + reach + 1, count))


def _octave(hearing: AudioFeatures, start_s: float, stop_s: float, pitch: float) -> int:
    """Semitones by which the detector missed the octave: told by the odd partials."""
    if pitch < LEAST_OCTAVE:
        return 0
    if lower_octave_sounds(hearing, start_s, stop_s, pitch - 12.0):
        return -12
    return 12 if lower_octave_sounds(hearing, start_s, stop_s, pitch) is False else 0


def _is_sure(hearing: AudioFeatures, span: _Span, tuning: float) -> bool:
    """Whether the pitch is told: heard most of the time, and not between two semitones."""
    a = max(round(span.start_s / PITCH_STEP_S) + 1, 0)
    b = max(round(span.stop_s / PITCH_STEP_S), a + 1)
    voiced = hearing.voiced[a:b]
    if not voiced.any() or voiced.mean() < SAFE_SHARE:
        return False
    off = float(np.median(hearing.pitch[a:b][voiced])) - tuning - span.pitch
    return abs(off) <= ASTRAY
