"""A second look at notes that the path left out or could not tell, by their own envelopes.

A short note of a slow instrument never gets as far as the pitch detector, and one struck again may
show no attack; yet what sounds at its own pitch rises and falls (`own_tones`). What rises clearly
where the note was due was played. What does not rise at all was not. What lies in between is not
told. Limits were chosen on rendered takes of the tuning bank with known skipped notes.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coldtake.listening.hearing import Floats, Hearing
from coldtake.listening.onsets import Onset, attack_in
from coldtake.listening.own_tones import STEP_S, OwnTones

BEFORE_S = 0.06  # how much before its time a note may come
HEARD, PERHAPS = 0.2, 0.08  # its peak over the take's usual one
RISEN, RISEN_AGAIN = 6.0, 1.6  # its peak over the lowest just before; again: of the same pitch
SHORT_S, SMEAR_S = 0.15, 0.045  # shorter notes may show nothing; how far a window looks ahead
STEADY = 1.1  # a tone that rises no more than this was not struck again
SHARE = 0.55  # of the sound at the peak
FAR_S, FAR_SHARE = 0.12, 0.45  # farther than this from where it was due it is another note


@dataclass(frozen=True)
class Look:
    """What was seen: onset (None where nothing was played), and whether that is sure."""

    onset: Onset | None
    sure: bool


@dataclass(frozen=True)
class Place:
    """Where a note is looked for [s].

    pitch, again : written pitch, and whether the note before has the same
    since_s : onset of the note before; due_s : when it was due; until_s : onset of the note after;
    same_after : whether that has the same pitch
    """

    pitch: int
    again: bool
    since_s: float
    due_s: float
    until_s: float
    same_after: bool


def look(hearing: Hearing, own: OwnTones, place: Place, usual: float, clear: bool) -> Look:
    """Look for a note.

    usual : the take's usual peak, as `usual_peak` tells; clear : notes struck again show in this
    take, so that a steady tone was not
    """
    if place.until_s - place.due_s < 0.03 or place.due_s - place.since_s < 0.03:
        return Look(None, sure=False)
    room = place.until_s - place.due_s
    # The next note shows in the window before it begins.
    until_s = place.until_s - (SMEAR_S if room > SHORT_S or place.same_after else 0.015)
    if until_s - place.due_s < 0.02:
        return Look(None, sure=False)
    one, whole = own.envelopes(hearing.samples, place.pitch, place.since_s, until_s)
    first = min(round((place.due_s - BEFORE_S - place.since_s) / STEP_S), len(one) - 2)
    first = max(first, 1)
    top = first + int(np.argmax(one[first:]))
    before = int(np.argmax(one[:first])) if place.again else 0
    low = before + int(np.argmin(one[before : top + 1]))
    risen = one[top] / max(one[low], 1e-6 * usual)
    return _told(one, whole, low, top, risen, place, usual, clear)


def _told(
    one: Floats, whole: Floats, low: int, top: int, risen: float, place: Place, usual: float,
    clear: bool,
) -> Look:  # fmt: skip
    room = place.until_s - place.due_s
    size, share = one[top] / usual, one[top] / max(whole[top], 1e-9)
    # What still rises when the same pitch is struck next belongs to that one.
    own_peak = top < len(one) - 2 or not place.same_after
    if place.again:
        if risen < STEADY:
            return Look(None, sure=clear and room > SHORT_S)
        heard = risen >= RISEN_AGAIN and size >= HEARD
    else:
        if size < PERHAPS or not own_peak:
            return Look(None, sure=True)
        heard = risen >= RISEN and size >= HEARD and share >= SHARE
    if not heard or not own_peak:
        return Look(None, sure=False)
    onset = attack_in(one[low : top + 1], STEP_S, place.since_s + low * STEP_S)
    far = abs(onset.onset_s - place.due_s) > max(FAR_S, FAR_SHARE * (place.until_s - place.due_s))
    return Look(None, sure=False) if far else Look(onset, sure=True)


def rises_again(hearing: Hearing, own: OwnTones, pitch: int, since_s: float, at_s: float) -> float:
    """How far a pitch rises where it is known to have been struck again, over the dip before."""
    one = own.envelope(hearing.samples, pitch, since_s, at_s + 0.2)
    middle = max(round((at_s - since_s - 0.04) / STEP_S), 1)
    top = middle + int(np.argmax(one[middle:]))
    return float(one[top] / max(one[int(np.argmax(one[:middle])) : top + 1].min(), 1e-9))


def usual_peak(
    hearing: Hearing, own: OwnTones, pitches: Sequence[int], onsets_s: Sequence[float]
) -> float:
    """Median over some notes of the loudest that sounds within 150 ms of their onsets."""
    some = range(0, len(pitches), max(len(pitches) // 12, 1))
    peaks = [
        own.envelopes(hearing.samples, pitches[k], onsets_s[k], onsets_s[k] + 0.15)[1].max()
        for k in some
    ]
    return float(np.median(peaks)) if peaks else 1.0
