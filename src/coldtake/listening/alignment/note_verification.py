"""A second look at notes that the path left out or could not tell, by their own envelopes.

A short note of a slow instrument never gets as far as the pitch detector, and one struck again may
show no attack; yet what sounds at its own pitch rises and falls (`own_tones`). What rises clearly
where the note was due was played. What does not rise at all was not. What lies in between is not
told. Limits were chosen on rendered takes of the tuning bank with known skipped notes.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from coldtake.listening.alignment.performed_notes import (
    CLEAR_ATTACKS,
    DOUBTFUL_ATTACK,
    PerformanceAlignment,
    PerformedNote,
    is_repeat,
    pace_of,
)
from coldtake.listening.alignment.segmental_viterbi import Ints
from coldtake.listening.features.audio_features import FINE_STEP_S, AudioFeatures, Floats
from coldtake.listening.features.onset_strength import attack_strength
from coldtake.listening.features.onsets import Onset, attack_in
from coldtake.listening.features.score_informed_nmf import STEP_S, PitchActivations
from coldtake.listening.features.tones import exact_pitch, tone_between

BEFORE_S = 0.06  # how much before its time a note may come
HEARD, PERHAPS = 0.2, 0.08  # its peak over the take's usual one
RISEN, RISEN_AGAIN = 6.0, 1.6  # its peak over the lowest just before; again: of the same pitch
SHORT_S, SMEAR_S = 0.15, 0.045  # shorter notes may show nothing; how far a window looks ahead
STEADY = 1.1  # a tone that rises no more than this was not struck again
BRIEF_S = 0.08  # of a tone that sounds on past the time of the next, to say anything about it
SEEN_ERROR_S = 0.05  # half width (95 %) of an onset seen so
SHARE = 0.55  # of the sound at the peak
FAR_S, FAR_SHARE = 0.12, 0.45  # farther than this from where it was due it is another note


@dataclass(frozen=True)
class OnsetCheck:
    """What was seen: onset (None where nothing was played), and whether that is sure."""

    onset: Onset | None
    sure: bool


@dataclass(frozen=True)
class SearchWindow:
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


def look(
    hearing: AudioFeatures, own: PitchActivations, place: SearchWindow, usual: float, clear: bool
) -> OnsetCheck:
    """Look for a note.

    usual : the take's usual peak, as `usual_peak` tells; clear : notes struck again show in this
    take, so that a steady tone was not
    """
    if place.until_s - place.due_s < 0.03 or place.due_s - place.since_s < 0.03:
        return OnsetCheck(None, sure=False)
    room = place.until_s - place.due_s
    # The next note shows in the window before it begins.
    until_s = place.until_s - (SMEAR_S if room > SHORT_S or place.same_after else 0.015)
    if until_s - place.due_s < 0.02:
        return OnsetCheck(None, sure=False)
    one, whole = own.envelopes(hearing.samples, place.pitch, place.since_s, until_s)
    first = min(round((place.due_s - BEFORE_S - place.since_s) / STEP_S), len(one) - 2)
    first = max(first, 1)
    top = first + int(np.argmax(one[first:]))
    before = int(np.argmax(one[:first])) if place.again else 0
    low = before + int(np.argmin(one[before : top + 1]))
    risen = one[top] / max(one[low], 1e-6 * usual)
    return _told(one, whole, low, top, risen, place, usual, clear)


def _told(
    one: Floats, whole: Floats, low: int, top: int, risen: float, place: SearchWindow, usual: float,
    clear: bool,
) -> OnsetCheck:  # fmt: skip
    room = place.until_s - place.due_s
    size, share = one[top] / usual, one[top] / max(whole[top], 1e-9)
    # What still rises when the same pitch is struck next belongs to that one.
    own_peak = top < len(one) - 2 or not place.same_after
    if place.again:
        if risen < STEADY:
            return OnsetCheck(None, sure=clear and room > SHORT_S)
        heard = risen >= RISEN_AGAIN and size >= HEARD
    else:
        if size < PERHAPS or not own_peak:
            return OnsetCheck(None, sure=True)
        heard = risen >= RISEN and size >= HEARD and share >= SHARE
    if not heard or not own_peak:
        return OnsetCheck(None, sure=False)
    onset = attack_in(one[low : top + 1], STEP_S, place.since_s + low * STEP_S)
    far = abs(onset.onset_s - place.due_s) > max(FAR_S, FAR_SHARE * (place.until_s - place.due_s))
    return OnsetCheck(None, sure=False) if far else OnsetCheck(onset, sure=True)


def rises_again(
    hearing: AudioFeatures, own: PitchActivations, pitch: int, since_s: float, at_s: float
) -> float:
    """How far a pitch rises where it is known to have been struck again, over the dip before."""
    one = own.envelope(hearing.samples, pitch, since_s, at_s + 0.2)
    middle = max(round((at_s - since_s - 0.04) / STEP_S), 1)
    top = middle + int(np.argmax(one[middle:]))
    return float(one[top] / max(one[int(np.argmax(one[:middle])) : top + 1].min(), 1e-9))


def usual_peak(
    hearing: AudioFeatures, own: PitchActivations, pitches: Sequence[int], onsets_s: Sequence[float]
) -> float:
    """Median over some notes of the loudest that sounds within 150 ms of their onsets."""
    some = range(0, len(pitches), max(len(pitches) // 12, 1))
    peaks = [
        own.envelopes(hearing.samples, pitches[k], onsets_s[k], onsets_s[k] + 0.15)[1].max()
        for k in some
    ]
    return float(np.median(peaks)) if peaks else 1.0


def look_again(
    hearing: AudioFeatures,
    own: PitchActivations,
    reading: PerformanceAlignment,
    pitches: Ints,
    beats: Floats,
) -> PerformanceAlignment:
    """Look again for notes that were left out or not told; pitches, beats : the passage's."""
    if all(_is_told(reading.kept, i) for i in range(min(reading.kept) + 1, len(pitches))):
        return reading
    kept = _as_due(reading.kept, pitches, beats)
    order = sorted(kept)
    usual = usual_peak(
        hearing, own, [int(pitches[i]) for i in order if pitches[i] in own.pitches],
        [kept[i].onset_s for i in order if pitches[i] in own.pitches],
    )  # fmt: skip
    clear = reading.clarity > CLEAR_ATTACKS or _repeats_show(hearing, own, kept, pitches)
    strength = attack_strength(hearing)
    unsure = set(reading.unsure)
    missed: set[int] = set()
    last, pace = max(kept), pace_of(kept, beats)
    for i in range(min(kept) + 1, len(pitches)):
        if _is_told(kept, i):
            continue
        if i > last and not (is_repeat(pitches, i) and i - 1 in kept.keys() | unsure):
            break  # what was left off at the end was not played, unless it is one long tone
        place = _place_of(i, kept, pitches, beats, pace)
        if place is None or place.pitch not in own.pitches:
            continue
        seen = look(hearing, own, place, usual, clear and not _stirs(strength, place))
        if seen.onset is not None:
            kept[i] = _seen(hearing, place, seen.onset, i, reading.tuning)
        elif seen.sure and (i not in kept or place.again):
            missed.add(i)
            kept.pop(i, None)
        elif i not in kept:
            unsure.add(i)
    return replace(
        reading, kept=kept, unsure=frozenset(unsure - kept.keys()), missed=frozenset(missed)
    )


def _is_told(kept: dict[int, PerformedNote], index: int) -> bool:
    return index in kept and kept[index].right is not None


def _stirs(strength: Floats, place: SearchWindow) -> bool:
    """Whether there is any sign of an attack about where a note was due."""
    first, last = round((place.due_s - 0.1) / FINE_STEP_S), round((place.due_s + 0.1) / FINE_STEP_S)
    return bool(strength[max(first, 0) : max(last, 1)].max(initial=0.0) > DOUBTFUL_ATTACK)


def _repeats_show(
    hearing: AudioFeatures, own: PitchActivations, kept: dict[int, PerformedNote], pitches: Ints
) -> bool:
    """Whether this take's repeated notes show by a dip before them, as far as some were found."""
    found = [
        rises_again(hearing, own, int(pitches[i]), kept[i - 1].onset_s, p.onset_s)
        for i, p in kept.items()
        if i - 1 in kept and is_repeat(pitches, i) and p.right and pitches[i] in own.pitches
        and p.onset_s > kept[i - 1].onset_s + 0.05
    ][:6]  # fmt: skip
    return len(found) >= 2 and min(found) > RISEN_AGAIN


def _as_due(
    kept: dict[int, PerformedNote], pitches: Ints, beats: Floats
) -> dict[int, PerformedNote]:
    """Where only some of a run of equal notes were heard, each the one that was due there."""
    pace, out = pace_of(kept, beats), dict(kept)
    for i in sorted(kept):
        first = i
        while first > 0 and pitches[first - 1] == pitches[i] and first - 1 not in out:
            first -= 1
        before = max((k for k in out if k < first), default=None)
        if first == i or before is None or kept[i].right is False:
            continue
        from_s = out[before].onset_s - pace * beats[before]
        due = np.abs(from_s + pace * beats[first : i + 1] - kept[i].onset_s)
        nearest = first + int(np.argmin(due))
        out[nearest] = replace(out.pop(i), index=nearest)
    return out


def _place_of(
    i: int, kept: dict[int, PerformedNote], pitches: Ints, beats: Floats, pace: float
) -> SearchWindow | None:
    """Where note i was due, between the nearest notes that were heard."""
    before = max((k for k in kept if k < i), default=None)
    after = min((k for k in kept if k > i and kept[k].right is not None), default=None)
    if before is None:
        return None
    again = bool(pitches[before] == pitches[i])
    a = kept[before].onset_s
    if after is None:
        due = a + pace * float(beats[i] - beats[before])
        until = min(due + pace, kept[before].offset_s)
        if until < due + BRIEF_S:
            return None  # the tone had ended
        return SearchWindow(int(pitches[i]), again, a, due, until, same_after=False)
    b = kept[after].onset_s
    if b <= a:
        return None
    share = float((beats[i] - beats[before]) / (beats[after] - beats[before]))
    step = float((beats[i + 1] - beats[before]) / (beats[after] - beats[before]))
    same_after = bool(pitches[i + 1] == pitches[i])
    return SearchWindow(
        int(pitches[i]), again, a, a + share * (b - a), a + step * (b - a), same_after
    )


def _seen(
    hearing: AudioFeatures, place: SearchWindow, onset: Onset, index: int, tuning: float
) -> PerformedNote:
    wanted = place.pitch + tuning
    tone = tone_between(hearing, onset.onset_s, place.until_s, around=wanted)
    exact = exact_pitch(hearing, onset.onset_s, place.until_s, wanted)
    if exact is not None:
        tone = replace(tone, pitch=exact[0], error_cents=exact[1])
    return PerformedNote(
        index,
        True,
        onset.onset_s,
        onset.rise_s,
        place.until_s,
        tone,
        0.0,
        error_s=SEEN_ERROR_S + 0.5 * onset.rise_s,
    )
