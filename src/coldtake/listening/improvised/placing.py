"""Seconds to beats of the changes: by the click, or by the player's own beat.

- A click heard in the recording says it all.
- A click that was made but is not heard (headphones) gives tempo and bar; what the devices delay is
  found from the notes themselves, near the delays that were measured in browsers.
- After a count-in alone the beat is fitted as without a click, and the count-in tells the bar.
- Without a click the beat is fitted near the step's tempo: a comb of on-beats and off-beats, swung
  or straight, moved through the take window by window (after S. Dixon, "Automatic extraction of
  tempo and beat from expressive performances", J. New Music Res. 30, 2001: beats are predicted and
  corrected; the comb is our own). On which beat of the form it began is not in the notes: every
  beginning near the first bar that fits the harmony about as well stays possible, and the figures
  are only as sure as all of them agree.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from coldtake.domain.take import ClickTrack
from coldtake.listening.features.audio_features import Floats
from coldtake.listening.features.click_track import HeardClicks
from coldtake.listening.improvised.harmony import ChordTimeline
from coldtake.listening.improvised.measuring import OnBeats
from coldtake.listening.improvised.notes import ImprovisedNote

SWINGS = (0.5, 0.56, 0.6, 0.64, 0.667, 0.7)  # place of the off-beat in its beat
SHARP_S = 0.03  # width of a comb's teeth
ON, OFF, THIRD = 1.0, 0.75, 0.45  # their weights
DELAY_S, DELAY_SPREAD_S = 0.13, 0.06  # of what is played to a click (78-179 ms in a browser)
HEARD_ERROR_S, FITTED_ERROR_S = 0.012, 0.035
TEMPO_ROOM = 0.10  # around the step's tempo
WINDOW_BEATS, STRIDE_BEATS = 16, 4
LATEST_START_BARS = 2
PLAUSIBLE = 2.5  # standard errors of the difference in fit
LEAST_NOTES = 6


@dataclass(frozen=True, eq=False)
class BeatMap:
    """Times of beats: knots for interpolation, and how sure they are [s].

    by : what they come from, as the end of a sentence; first_beats : possible beats of the form at
    the first knot, the likeliest first; bpm : in the mean
    """

    times_s: Floats
    beats: Floats
    error_s: float
    by: str
    bpm: float
    first_beats: tuple[float, ...] = (0.0,)

    def beat_at(self, time_s: Floats | float) -> Floats:
        """Beats from the first knot's, extended at the mean tempo beyond the knots."""
        return _along(np.asarray(time_s, dtype=np.float64), self.times_s, self.beats)

    def time_at(self, beat: float) -> float:
        """Seconds of a beat of the form, for the likeliest beginning."""
        at = np.asarray(beat - self.first_beats[0])
        return float(_along(at, self.beats, self.times_s))

    def notes(self, heard: Sequence[ImprovisedNote], first: float) -> tuple[OnBeats, ...]:
        """Notes on beats, with the first knot on this beat of the form."""
        on = self.beat_at(np.array([n.onset_s for n in heard])) + first
        off = self.beat_at(np.array([n.offset_s for n in heard])) + first
        return tuple(
            OnBeats(float(a), float(b), n.pitch, n.sure)
            for a, b, n in zip(on, off, heard, strict=True)
        )


def _along(x: Floats, xs: Floats, ys: Floats) -> Floats:
    """Linear interpolation that goes on beyond both ends with the slope of the whole."""
    slope = (ys[-1] - ys[0]) / (xs[-1] - xs[0])
    inside = np.interp(x, xs, ys)
    before, after = np.minimum(x - xs[0], 0.0), np.maximum(x - xs[-1], 0.0)
    return np.asarray(inside + slope * (before + after))


def by_click(
    track: ClickTrack, heard: HeardClicks | None, notes: Sequence[ImprovisedNote], length: float
) -> BeatMap:
    """Place by a click whose making is known."""
    beat_s = track.beat_s
    if heard is not None and heard.steady:
        delay = 0.5 * (heard.delay_start_s + heard.delay_end_s)
        error, by = HEARD_ERROR_S, "by the click as heard"
    else:
        delay = _delay(track, notes, beat_s)
        error, by = FITTED_ERROR_S, "by the click as it was made"
    music = track.music_s + delay
    times = np.array([music, music + length * beat_s])
    return BeatMap(times, np.array([0.0, length]), error, by, 60.0 / beat_s)


def _delay(track: ClickTrack, notes: Sequence[ImprovisedNote], beat_s: float) -> float:
    """The delay at which the notes lie best on beats, near the usual ones."""
    onsets = np.array([n.onset_s for n in notes])
    if not len(onsets):
        return DELAY_S
    delays = np.arange(-0.05, 0.40, 0.004)
    usual = -0.5 * ((delays - DELAY_S) / DELAY_SPREAD_S) ** 2
    fits = [max(_comb(onsets - track.music_s - d, beat_s, s) for s in SWINGS) for d in delays]
    return float(delays[np.argmax(np.array(fits) / max(np.std(fits), 0.5) + usual)])


def _comb(times: Floats, beat_s: float, swing: float) -> float:
    """How well onsets lie on a comb that has a beat at 0."""
    at = (times / beat_s) % 1.0
    teeth = ((0.0, ON), (1.0, ON), (swing, OFF), (1 / 3, THIRD), (2 / 3, THIRD))
    near = [w * np.exp(-0.5 * ((at - place) * beat_s / SHARP_S) ** 2) for place, w in teeth]
    return float(np.max(near, axis=0).sum())


def by_notes(
    heard: Sequence[ImprovisedNote],
    ground: ChordTimeline,
    tempo_bpm: float,
    room: float = TEMPO_ROOM,
    music_s: float | None = None,
) -> BeatMap | None:
    """Place by the notes alone, near a tempo; None where no beat can be told.

    music_s : when the first beat was to come by a count-in that was made
    """
    if len(heard) < LEAST_NOTES:
        return None
    onsets = np.array([n.onset_s for n in heard])
    first = _first_window(onsets, 60.0 / tempo_bpm, room)
    if first is None:
        return None
    times = _followed(onsets, *first)
    beats = np.arange(len(times), dtype=np.float64)
    bpm = float(60.0 * beats[-1] / (times[-1] - times[0]))
    plain = BeatMap(times, beats, FITTED_ERROR_S, "by your own beat", bpm)
    if music_s is not None:
        begun = -round(2.0 * float(plain.beat_at(music_s + DELAY_S))) / 2.0
        return replace(plain, by="by the count-in and your own beat", first_beats=(begun,))
    return _begun(plain, heard, ground)


def _first_window(onsets: Floats, usual: float, room: float) -> tuple[float, float] | None:
    """(beat_s, time of a beat) of the densest window."""
    span = WINDOW_BEATS * usual
    counts = [int(((onsets >= t) & (onsets < t + span)).sum()) for t in onsets]
    k = int(np.argmax(counts))
    inside = onsets[(onsets >= onsets[k]) & (onsets < onsets[k] + span)]
    if len(inside) < LEAST_NOTES:
        return None
    best = (-1.0, 0.0, 0.0)
    for beat_s in usual * np.linspace(1.0 - room, 1.0 + room, max(round(250 * room), 3)):
        for phase in np.arange(0.0, beat_s, 0.012):
            fit = max(_comb(inside - onsets[k] - phase, beat_s, s) for s in SWINGS[::2])
            if fit > best[0]:
                best = (fit, float(beat_s), float(onsets[k] + phase))
    return best[1], best[2]


def _followed(onsets: Floats, beat_s: float, at: float) -> Floats:
    """Beat times through the whole take, from the window outwards in both directions."""
    ahead = _one_way(onsets, beat_s, at, float(onsets[-1]))
    back = _one_way(-onsets, beat_s, -at, float(-onsets[0]))
    return np.concatenate([-np.array(back[:0:-1]), np.array(ahead)])


def _one_way(onsets: Floats, beat_s: float, at: float, stop: float) -> list[float]:
    """Beats from `at` on until `stop`, tempo and place corrected every few beats."""
    beats = [at]
    shifts, scales = np.arange(-0.06, 0.0601, 0.006), np.linspace(0.985, 1.015, 7)
    while beats[-1] < stop + beat_s:
        here = beats[-1]
        inside = onsets[
            (onsets > here - 0.5 * beat_s) & (onsets < here + WINDOW_BEATS / 2 * beat_s)
        ]
        if len(inside) >= LEAST_NOTES // 2:
            beat_s, here = _corrected(inside, beat_s, here, shifts, scales)
        beats += [here + (k + 1) * beat_s for k in range(STRIDE_BEATS)]
    return beats


def _corrected(
    inside: Floats, beat_s: float, here: float, shifts: Floats, scales: Floats
) -> tuple[float, float]:
    best = (-np.inf, beat_s, here)
    for scale in scales:
        for shift in shifts:
            fit = max(_comb(inside - here - shift, beat_s * scale, s) for s in SWINGS[::2])
            fit -= 0.5 * ((scale - 1.0) / 0.008) ** 2 + 0.5 * (shift / 0.03) ** 2
            if fit > best[0]:
                best = (fit, float(beat_s * scale), float(here + shift))
    return best[1], best[2]


def _begun(placing: BeatMap, heard: Sequence[ImprovisedNote], ground: ChordTimeline) -> BeatMap:
    """Add the beats of the form on which it may have begun."""
    first = float(placing.beat_at(heard[0].onset_s))
    low, high = -ground.bar_beats, LATEST_START_BARS * ground.bar_beats
    steps = np.arange(2 * round(low), 2 * round(high) + 1) / 2.0
    starts = [float(s) - round(2 * first) / 2.0 for s in steps]
    fits = np.array([_fits(placing.notes(heard, s), ground) for s in starts])
    best = int(np.argmax(fits.sum(axis=1)))
    behind = fits[best] - fits
    error = np.sqrt((behind**2).sum(axis=1)) + 1e-9
    possible = np.flatnonzero(behind.sum(axis=1) <= PLAUSIBLE * error)
    order = sorted(possible.tolist(), key=lambda k: float(behind[k].sum()))
    return replace(placing, first_beats=tuple(starts[k] for k in order))


def _fits(notes: Sequence[OnBeats], ground: ChordTimeline) -> Floats:
    """How each note fits the harmony that it would stand over, shape (notes,)."""
    edges = np.array([p.onset_beats for p in ground.places])
    found = np.zeros(len(notes))
    for k, note in enumerate(notes):
        at = int(np.searchsorted(edges, note.onset + 0.2, side="right")) - 1
        if not 0 <= at < len(ground.places) or note.onset > ground.length_beats:
            continue
        place, pitch = ground.places[at], note.pitch % 12
        inside = bool(place.scales) and pitch in place.scales[0].classes
        found[k] = 1.0 if pitch in place.tones else 0.6 if inside else 0.0
        found[k] += 0.15 * (abs(note.onset - round(note.onset)) < 0.15)
    return found
