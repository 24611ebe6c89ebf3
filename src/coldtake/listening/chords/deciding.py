"""From what the network says to what became of every written note.

A written note is right where the network, told the page, finds it played; not played where it is
sure that it was not; in between it cannot be told, and nobody is accused. A tone that was not
expected stands for a written note of the same chord that was not played (a wrong pitch), else it is
an extra. Thresholds were chosen on the tuning bank (`bench/listening/chords`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from coldtake.listening.chords.note_network import (
    NoteActivations,
    NoteOnset,
    begun_in,
    peak_s,
    stops_s,
)
from coldtake.listening.chords.placing import ChordOccurrence
from coldtake.listening.chords.spectrum import KEYS, LOWEST_KEY, STEP_S
from coldtake.listening.keyboard.midi_alignment import Matched, PlayedGroup, WentBack
from coldtake.listening.keyboard.midi_performance import MidiNote
from coldtake.music.passage import Passage

ASKED_S = 0.02  # the network is asked within this of the chord's time
# Log odds below which a note was not played, and how far above it is right: the first for a sound
# that the network finds hard, the second for one that is clear to it (see `_clearness`).
NOT_PLAYED, DOUBT = (-1.75, 0.0), 0.8
# The same (not played below, right from) for a note whose partials a lower note of the chord has
# too: all of them an octave or two below, one in three a twelfth below.
BY_OCTAVE, BY_TWELFTH = ((-4.0, -2.6), (0.7, -0.6)), (-1.5, -0.4)
HARD_OCTAVES, CLEAR_OCTAVES = 1.0, 4.0  # median log odds of a take's octaves
OCTAVES, TWELFTH = (12, 24), 19  # semitones
HARD, CLEAR = 1.0, 6.5  # lower quartile of a take's log odds
NEAR_S = 0.11  # a chord's note begins within this of the chord
OWN_S = 0.16  # a tone of the expected pitch so near to its chord is that note
STANDS_FOR_S = 0.12  # a wrong pitch begins within this of the note that it stands for
LATE_S = 0.35  # so long after its chord a note of its own pitch is that note come late
LEAST_WRONG = 0.4  # strength of an unexpected tone that stands for a written one
LEAST_EXTRA, LEAST_KIN = (0.85, 0.6), (0.9, 0.75)  # and of an extra, hard and clear sounds
FURTHEST_WRONG = 12  # semitones
KIN = (12, 19, 24, 28, 31, 34, 36)  # semitones up to where a sounding key's partials stand
FAINT_ONSET = 0.2
NEVER = -9.0  # log odds of what lies outside the recording


@dataclass
class NoteDecisions:
    """A Matched performance, and the notes that cannot be told (indices in the passage).

    odds : log odds that each written note was played, by note index
    clearness, octaves : 0 hard .. 1 clear, of the take's plain notes and of its octaves
    """

    matched: Matched
    unsure: set[int] = field(default_factory=set)
    odds: dict[int, float] = field(default_factory=dict)
    clearness: float = 1.0
    octaves: float = 1.0


def decide(
    heard: NoteActivations,
    visits: Sequence[ChordOccurrence],
    events: tuple[PlayedGroup, ...],
    passage: Passage,
) -> NoteDecisions:
    """Say of every written note what became of it; the last playing of each counts."""
    clearness, octaves = _clearness(heard, visits, events)
    told = NoteDecisions(Matched(events), clearness=clearness, octaves=octaves)
    strange = _unexpected(heard, visits, events)
    last = -1
    for k, visit in enumerate(visits):
        if visit.event <= last:
            told.matched.goings.append(WentBack(visit.at_s, last, visit.event))
            _forget(told, visit.event)
        last = visit.event
        _decide_visit(told, heard, visits, k, passage, strange)
    _take_late(told, heard, visits, passage, strange)
    for tone in strange:
        if tone.strength >= _needed(tone, visits, events, told.clearness):
            press = MidiNote(tone.onset_s, _stop(heard, tone), tone.pitch, 64)
            told.matched.extras.append((_event_at(tone.onset_s, visits), press))
    _drop_extras_before_goings(told)
    told.matched.extras.sort(key=lambda e: e[1].onset_s)
    return told


def doubtful_in(
    heard: NoteActivations, visits: Sequence[ChordOccurrence], events: Sequence[PlayedGroup]
) -> set[int]:
    """Places of the visits of which at least half seems not to be played."""
    out = set()
    for k, visit in enumerate(visits):
        odds = [odds_of(heard, visit, p) for p in events[visit.event].pitches]
        if 2 * sum(o < 0.0 for o in odds) >= len(odds):
            out.add(k)
    return out


def _clearness(
    heard: NoteActivations, visits: Sequence[ChordOccurrence], events: Sequence[PlayedGroup]
) -> tuple[float, float]:
    """How clear the sound is to the network: 0 hard, 1 clear, for plain notes and for octaves.

    By the lower quartile of a take's plain notes, and the median of its octaves.
    """
    plain, octaves = [], []
    for visit in visits:
        chord = events[visit.event].pitches
        for pitch in chord:
            odds = odds_of(heard, visit, pitch)
            if any(pitch - up in chord for up in OCTAVES):
                octaves.append(odds)
            elif pitch - TWELFTH not in chord:
                plain.append(odds)
    quarter = float(np.quantile(plain, 0.25)) if plain else HARD
    middle = float(np.median(octaves)) if octaves else HARD_OCTAVES
    return _part(quarter, HARD, CLEAR), _part(middle, HARD_OCTAVES, CLEAR_OCTAVES)


def _part(value: float, low: float, high: float) -> float:
    return float(np.clip((value - low) / (high - low), 0.0, 1.0))


def _between(ends: tuple[float, float], clearness: float) -> float:
    return ends[0] + clearness * (ends[1] - ends[0])


def _forget(told: NoteDecisions, event: int) -> None:
    gone = {i for e in told.matched.events[event:] for i in e.notes}
    told.matched.played = {i: p for i, p in told.matched.played.items() if i not in gone}
    told.matched.wrong -= gone
    told.unsure -= gone


def _drop_extras_before_goings(told: NoteDecisions) -> None:
    """What was played too much before going back is forgiven with the rest."""
    for went in told.matched.goings:
        told.matched.extras = [
            (e, p)
            for e, p in told.matched.extras
            if p.onset_s > went.at_s - NEAR_S or e < went.to_event
        ]


def _decide_visit(
    told: NoteDecisions, heard: NoteActivations, visits: Sequence[ChordOccurrence], k: int,
    passage: Passage, strange: list[NoteOnset],
) -> None:  # fmt: skip
    visit = visits[k]
    gone = []
    chord = told.matched.events[visit.event].pitches
    for i in told.matched.events[visit.event].notes:
        pitch = passage.notes[i].pitch
        odds = odds_of(heard, visit, pitch)
        told.odds[i] = odds
        least, enough = _limits(pitch, chord, told)
        if odds < least:
            gone.append(i)
            continue
        if odds < enough:
            if _as_wrong(told, heard, visit, i, pitch, strange, clear=True):
                continue
            told.unsure.add(i)
        onset = _onset(heard, visits, k, pitch, told.matched.events)
        latest = onset + 4.0 * passage.notes[i].duration_beats * visit.period_s
        stop = stops_s(heard, onset, pitch, latest)
        told.matched.played[i] = MidiNote(onset, stop, pitch, 64)
    for i in gone:
        _as_wrong(told, heard, visit, i, passage.notes[i].pitch, strange, clear=False)


def _take_late(
    told: NoteDecisions, heard: NoteActivations, visits: Sequence[ChordOccurrence],
    passage: Passage, strange: list[NoteOnset],
) -> None:  # fmt: skip
    """Let a tone of a chord's own pitch, soon after it, be that note come late: no extra."""
    for tone in list(strange):
        before = [v for v in visits if 0.0 < tone.onset_s - v.at_s <= LATE_S]
        for visit in reversed(before):
            notes = told.matched.events[visit.event].notes
            own = next((i for i in notes if passage.notes[i].pitch == tone.pitch), None)
            if own is None:
                continue
            strange.remove(tone)
            if own not in told.matched.played or own in told.unsure:
                stop = _stop(heard, tone)
                told.matched.played[own] = MidiNote(tone.onset_s, stop, tone.pitch, 64)
                told.unsure.discard(own)
            break


def _limits(pitch: int, chord: Sequence[int], told: NoteDecisions) -> tuple[float, float]:
    """Log odds below which a note was not played, and from which it is right."""
    if any(pitch - up in chord for up in OCTAVES):
        least, enough = (_between(ends, told.octaves) for ends in BY_OCTAVE)
        return least, enough
    if pitch - TWELFTH in chord:
        return BY_TWELFTH
    least = _between(NOT_PLAYED, told.clearness)
    return least, least + DOUBT


def odds_of(heard: NoteActivations, visit: ChordOccurrence, pitch: int) -> float:
    """Log odds that a chord's note was played; of one beyond the keys, that it cannot be told."""
    key = pitch - LOWEST_KEY
    if not 0 <= key < KEYS:
        return 0.0
    low = int(np.ceil((visit.at_s - ASKED_S) / STEP_S))
    high = int(np.floor((visit.at_s + ASKED_S) / STEP_S)) + 1
    part = heard.played[max(low, 0) : max(high, 1), key]
    return float(part.mean()) if len(part) else NEVER


def _onset(
    heard: NoteActivations,
    visits: Sequence[ChordOccurrence],
    k: int,
    pitch: int,
    events: tuple[PlayedGroup, ...],
) -> float:
    """When the note itself begins: the strongest sign near its chord."""
    at = visits[k].at_s
    others = [
        abs(v.at_s - at)
        for v in visits[max(k - 6, 0) : k + 7]
        if v is not visits[k] and pitch in events[v.event].pitches
    ]
    reach = min([NEAR_S, *(0.5 * o for o in others)])
    low, high = max(round((at - reach) / STEP_S), 0), round((at + reach) / STEP_S) + 1
    curve = heard.onset[:, pitch - LOWEST_KEY]
    part = curve[low:high]
    if not len(part) or part.max() < FAINT_ONSET:
        return at
    return peak_s(curve, low + int(np.argmax(part)))


def _unexpected(
    heard: NoteActivations, visits: Sequence[ChordOccurrence], events: Sequence[PlayedGroup]
) -> list[NoteOnset]:
    """Tones that no written note at their time accounts for."""
    expected: dict[int, list[float]] = {}
    for visit in visits:
        for pitch in events[visit.event].pitches:
            expected.setdefault(pitch, []).append(visit.at_s)
    return [
        b
        for b in begun_in(heard.onset, LEAST_WRONG)
        if min((abs(b.onset_s - t) for t in expected.get(b.pitch, ())), default=9.0) > OWN_S
    ]


def _as_wrong(
    told: NoteDecisions,
    heard: NoteActivations,
    visit: ChordOccurrence,
    i: int,
    pitch: int,
    strange: list[NoteOnset],
    *,
    clear: bool,
) -> bool:
    """Let an unexpected tone of the chord stand for a note that was not played.

    clear : whether the tone must be as clear as an extra, where the note itself is in doubt
    """
    least = _between(LEAST_KIN, told.clearness) if clear else LEAST_WRONG
    near = [
        b
        for b in strange
        if abs(b.onset_s - visit.at_s) <= STANDS_FOR_S
        and abs(b.pitch - pitch) <= FURTHEST_WRONG
        and b.strength >= least
    ]
    if not near:
        return False
    best = min(near, key=lambda b: (abs(b.pitch - pitch), -b.strength))
    strange.remove(best)
    told.matched.played[i] = MidiNote(best.onset_s, _stop(heard, best), best.pitch, 64)
    told.matched.wrong.add(i)
    return True


def _stop(heard: NoteActivations, tone: NoteOnset) -> float:
    return stops_s(heard, tone.onset_s, tone.pitch, tone.onset_s + 4.0)


def _needed(
    tone: NoteOnset,
    visits: Sequence[ChordOccurrence],
    events: Sequence[PlayedGroup],
    clearness: float,
) -> float:
    """Strength that an extra needs; more where a written key's partials may feign it."""
    for visit in visits:
        if abs(visit.at_s - tone.onset_s) < NEAR_S and any(
            tone.pitch - p in KIN for p in events[visit.event].pitches
        ):
            return _between(LEAST_KIN, clearness)
    return _between(LEAST_EXTRA, clearness)


def _event_at(time_s: float, visits: Sequence[ChordOccurrence]) -> int:
    before = [v.event for v in visits if v.at_s <= time_s + NEAR_S]
    return before[-1] if before else 0
