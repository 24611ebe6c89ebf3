"""Do the two sounds differ at a place? A second opinion beside the notes that were heard.

The take is laid along the reference by the notes that were heard right in both. At a place of the
reference the spectra of both sounds, summed by semitone (a chroma vector with its octaves kept;
after M. Mueller, "Fundamentals of Music Processing", Springer 2015, ch. 3), are compared by the
cosine of their angle; a place with one pitch before and after it is compared by its attack. What
counts as alike is measured on the notes of this very take that were heard right: another room,
instrument or microphone changes all of them. The limits were chosen on the tuning bank
(bench/listening/reference.py).
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from coldtake.listening.features.audio_features import (
    FINE_STEP_S,
    RATE,
    AudioFeatures,
    Floats,
)
from coldtake.listening.features.onset_strength import attack_strength
from coldtake.units import A4_HZ, A4_PITCH

SIZE = 8192  # of the spectrum, zeros added
LOWEST, HIGHEST = 28, 107  # semitones looked at
FLOOR = 1e-3  # of the strongest semitone: what lies below is noise
LEAST_S, MOST_S = 0.05, 0.4  # of a note that is looked at
SKIPPED_S = 0.012  # of its start: the note before still sounds
SPREADS = 3.0  # so many median deviations above the median of the right notes is another sound
LEAST_APART, SURELY_APART = 0.20, 0.30  # 1 - cosine: never another below, always above
ATTACK_S = 0.06  # an attack this near to its place is the note's
STRUCK, UNSTRUCK = 0.6, 0.35
PART_S = 0.12  # a long note is compared part by part
QUIET_DB = 24.0  # below the loud parts of its sound


@dataclass(frozen=True, slots=True)
class SameStretch:
    """The same stretch of the music in both sounds [s]."""

    reference: tuple[float, float]
    take: tuple[float, float]


class SoundComparison:
    """Two sounds of the same music, laid along each other."""

    def __init__(self, reference: AudioFeatures, take: AudioFeatures, anchors: Floats) -> None:
        """Anchors : (reference [s], take [s]) of notes heard right in both, rising; shape (n, 2).

        At least two of them.
        """
        self._sounds = (reference, take)
        self._anchors = anchors
        self._attacks = (attack_strength(reference), attack_strength(take))
        self._quiet = tuple(
            float(np.percentile(sound.fine_db, 80)) - QUIET_DB for sound in (reference, take)
        )
        self.limit = LEAST_APART

    def learn(self, alike: list[SameStretch]) -> None:
        """Learn what sounds alike from notes that were heard right in both."""
        far = np.array([self.distance(s) for s in alike]) if alike else np.zeros(1)
        middle = float(np.median(far))
        spread = 1.4826 * float(np.median(np.abs(far - middle)))
        self.limit = float(np.clip(middle + SPREADS * spread, LEAST_APART, SURELY_APART))

    def in_take(self, reference_s: float) -> float:
        """Where a moment of the reference lies in the take [s]."""
        return _mapped(reference_s, self._anchors[:, 0], self._anchors[:, 1])

    def in_reference(self, take_s: float) -> float:
        """Where a moment of the take lies in the reference [s]."""
        return _mapped(take_s, self._anchors[:, 1], self._anchors[:, 0])

    def distance(self, stretch: SameStretch) -> float:
        """How far the spectra are apart: 0 alike, 1 nothing in common."""
        a, b = (
            _spectrum(sound, *part)
            for sound, part in zip(self._sounds, (stretch.reference, stretch.take), strict=True)
        )
        return 1.0 - float(a @ b)

    def differ(self, stretch: SameStretch) -> bool | None:
        """Whether the two sound different there; None where only one of them seems struck anew.

        Where one pitch sounds on, a single attack is too little: it may be heard one time and
        not the other, for the same playing.
        """
        if self.distance(stretch) > self.limit:
            return True
        struck = [
            _strongest(strength, part[0])
            for strength, part in zip(self._attacks, (stretch.reference, stretch.take), strict=True)
        ]
        return None if max(struck) >= STRUCK and min(struck) <= UNSTRUCK else False

    def is_missing(self, stretch: SameStretch) -> bool:
        """Whether a note that is struck in the reference surely does not sound in the take."""
        distance = self.distance(stretch)
        there = _strongest(self._attacks[0], stretch.reference[0])
        here = _strongest(self._attacks[1], stretch.take[0])
        apart = distance > SURELY_APART or (distance > self.limit and here <= UNSTRUCK)
        return there >= STRUCK and apart

    def strays(self, stretch: SameStretch) -> tuple[float, float] | None:
        """Return the first part of the take that surely sounds different within a stretch [s].

        Parts in which one of the two is as good as silent are left out: notes are held longer in
        one playing than in another.
        """
        count = max(1, round((stretch.reference[1] - stretch.reference[0]) / PART_S))
        for a, b in pairwise(np.linspace(0.0, 1.0, count + 1)):
            part = SameStretch(_part(stretch.reference, a, b), _part(stretch.take, a, b))
            sound = all(
                _level(s, *p) > q
                for s, p, q in zip(
                    self._sounds, (part.reference, part.take), self._quiet, strict=True
                )
            )
            if sound and self.distance(part) > max(self.limit, SURELY_APART):
                return part.take
        return None


def _part(stretch: tuple[float, float], a: float, b: float) -> tuple[float, float]:
    start, length = stretch[0], stretch[1] - stretch[0]
    return start + a * length, start + b * length


def _level(sound: AudioFeatures, start_s: float, stop_s: float) -> float:
    """Mean level [dB]."""
    low = round(start_s / FINE_STEP_S)
    part = sound.fine_db[max(low, 0) : max(round(stop_s / FINE_STEP_S), low + 1)]
    return float(part.mean()) if len(part) else -120.0


def _mapped(at: float, here: Floats, there: Floats) -> float:
    """Between anchors in proportion; beyond them at the speed of all."""
    if at <= here[0] or at >= here[-1]:
        k = 0 if at <= here[0] else -1
        speed = (there[-1] - there[0]) / (here[-1] - here[0])
        return float(there[k] + (at - here[k]) * speed)
    return float(np.interp(at, here, there))


def _strongest(strength: Floats, at_s: float) -> float:
    """The strongest attack near a moment."""
    low, high = round((at_s - ATTACK_S) / FINE_STEP_S), round((at_s + ATTACK_S) / FINE_STEP_S)
    return float(strength[max(low, 0) : max(high, 0) + 1].max(initial=0.0))


def _spectrum(sound: AudioFeatures, start_s: float, stop_s: float) -> Floats:
    """Loudness by semitone of a stretch, length 1; shape (HIGHEST - LOWEST + 1,)."""
    start = start_s + SKIPPED_S
    stop = min(max(stop_s, start + LEAST_S), start + MOST_S)
    part = sound.samples[max(round(start * RATE), 0) : max(round(stop * RATE), 0)][:SIZE]
    if len(part) < LEAST_S * RATE / 2:
        return np.zeros(HIGHEST - LOWEST + 1)
    power = np.abs(np.fft.rfft(part * np.hanning(len(part)), SIZE)) ** 2
    bands = _band_sums(power)
    loud = np.log1p(bands / max(bands.max(), 1e-12) / FLOOR)
    return np.asarray(loud / max(float(np.linalg.norm(loud)), 1e-12))


def _band_sums(power: Floats) -> Floats:
    """Power within half a semitone of each."""
    halves = np.arange(LOWEST, HIGHEST + 2) - 0.5
    edges = A4_HZ * np.exp2((halves - A4_PITCH) / 12.0) * SIZE / RATE
    sums = np.concatenate([[0.0], np.cumsum(power)])
    return np.asarray(np.diff(np.interp(edges, np.arange(len(sums)), sums)))
