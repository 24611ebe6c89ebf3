"""The page laid along a recording of chords: when each written chord came, going back included.

What was heard to begin, without the page, is taken for keys pressed and laid along the passage as a
keyboard's are (`keys_alignment`). Chords of which nothing was heard get the time that the tempo
between their neighbours says, so that the network can be asked for them too.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise

import numpy as np

from coldtake.listening.chords.note_network import NoteOnset, no_page
from coldtake.listening.chords.spectrum import KEYS, LOWEST_KEY, STEP_S, Singles
from coldtake.listening.features.tempo import local_period
from coldtake.listening.keyboard.midi_alignment import PlayedGroup, lay_keys
from coldtake.listening.keyboard.midi_performance import MidiNote
from coldtake.music.passage import Passage

BLUR_S = 0.03  # of the page's onsets, as in training
EARLY_S, HELD = 0.02, 0.93  # the page's notes begin so much earlier and are held for this share
FILLED_AT_ENDS = 4  # chords before the first and after the last that were heard
FAINT, CLEAR = 0.2, 0.8  # a tone of this strength counts not at all, and wholly
AGAIN = 6.0  # cost of staying with a chord that was left behind in time: what rings begins anew
CLUSTER_S, LEAST_TONE = 0.06, 0.4  # tones of a chord that was misplaced, and their least strength
PLAIN_PERIOD_S = 0.6  # a beat, where nothing tells


@dataclass(frozen=True, slots=True)
class ChordOccurrence:
    """One playing of a written chord: which event, when [s], and its right keys heard blindly."""

    event: int
    at_s: float
    right: frozenset[int]
    period_s: float = PLAIN_PERIOD_S


def visits_along(
    begun: Sequence[NoteOnset], events: Sequence[PlayedGroup]
) -> list[ChordOccurrence]:
    """Every playing of a chord in order of time; empty where nothing begins."""
    if not begun:
        return []
    presses = [MidiNote(b.onset_s, b.onset_s + 0.1, b.pitch, 64) for b in begun]
    strength = np.array([b.strength for b in begun])
    weights = np.clip((strength - FAINT) / (CLEAR - FAINT), 0.0, 1.0)
    places = lay_keys(presses, events, weights, again=AGAIN)
    heard = [(p.event, b) for p, b in zip(places, begun, strict=True) if not p.extra]
    seen = [
        _visit(event, [b for _, b in group], events[event])
        for event, group in groupby(heard, key=lambda row: row[0])
    ]
    return _with_tempo(_filled([v for v in seen if v.right], events), events)


def _visit(event: int, group: list[NoteOnset], written: PlayedGroup) -> ChordOccurrence:
    right = [b for b in group if b.pitch in written.pitches]
    at = float(np.median([b.onset_s for b in right or group]))
    return ChordOccurrence(event, at, frozenset(b.pitch for b in right))


def _period(
    seen: Sequence[ChordOccurrence], events: Sequence[PlayedGroup]
) -> tuple[Singles, Singles] | None:
    beats = np.array([events[v.event].beat for v in seen])
    times = np.array([v.at_s for v in seen])
    if len(seen) < 3:
        return None
    found = local_period(beats, times)
    return None if found is None else (found[0].astype(np.float32), found[1].astype(np.float32))


def _with_tempo(
    seen: list[ChordOccurrence], events: Sequence[PlayedGroup]
) -> list[ChordOccurrence]:
    period = _period(seen, events)
    if period is None:
        return seen
    return [
        ChordOccurrence(v.event, v.at_s, v.right, float(np.interp(v.at_s, *period))) for v in seen
    ]  # fmt: skip


def _filled(seen: list[ChordOccurrence], events: Sequence[PlayedGroup]) -> list[ChordOccurrence]:
    """With the chords between those that were heard, and a few before and after."""
    if not seen:
        return []
    period = _period(seen, events)
    out = _before(seen[0], events, _at(period, seen[0].at_s))
    for a, b in pairwise(seen):
        out.append(a)
        first, last = events[a.event].beat, events[b.event].beat
        for k in range(a.event + 1, b.event):
            share = (events[k].beat - first) / (last - first)
            out.append(ChordOccurrence(k, a.at_s + share * (b.at_s - a.at_s), frozenset()))
    return [*out, seen[-1], *_after(seen[-1], events, _at(period, seen[-1].at_s))]


def _at(period: tuple[Singles, Singles] | None, time_s: float) -> float:
    return PLAIN_PERIOD_S if period is None else float(np.interp(time_s, *period))


def _before(
    first: ChordOccurrence, events: Sequence[PlayedGroup], beat_s: float
) -> list[ChordOccurrence]:
    out = []
    for k in range(max(first.event - FILLED_AT_ENDS, 0), first.event):
        at = first.at_s - (events[first.event].beat - events[k].beat) * beat_s
        if at > 0:
            out.append(ChordOccurrence(k, at, frozenset()))
    return out


def _after(
    last: ChordOccurrence, events: Sequence[PlayedGroup], beat_s: float
) -> list[ChordOccurrence]:
    return [
        ChordOccurrence(
            k, last.at_s + (events[k].beat - events[last.event].beat) * beat_s, frozenset()
        )
        for k in range(last.event + 1, min(last.event + 1 + FILLED_AT_ENDS, len(events)))
    ]


def moved(
    visits: Sequence[ChordOccurrence], doubtful: Collection[int], begun: Sequence[NoteOnset],
    events: Sequence[PlayedGroup],
) -> list[ChordOccurrence]:  # fmt: skip
    """The visits, those that are doubtful moved to where tones of their pitches begin.

    doubtful : places in visits; begun : what the network heard once it was told the page
    """
    out = list(visits)
    for k in doubtful:
        before = [v.at_s for j, v in enumerate(visits[:k]) if j not in doubtful]
        after = [v.at_s for j, v in enumerate(visits[k + 1 :], k + 1) if j not in doubtful]
        low = (before[-1] if before else 0.0) + CLUSTER_S
        high = (after[0] if after else np.inf) - CLUSTER_S
        pitches = events[visits[k].event].pitches
        tones = [
            b
            for b in begun
            if low < b.onset_s < high and b.pitch in pitches and b.strength >= LEAST_TONE
        ]
        found = _largest_cluster(tones)
        if 2 * len({b.pitch for b in found}) >= len(pitches):
            at = float(np.median([b.onset_s for b in found]))
            out[k] = replace(visits[k], at_s=at)
    return out


def _largest_cluster(tones: Sequence[NoteOnset]) -> list[NoteOnset]:
    clusters = [
        [b for b in tones if 0.0 <= b.onset_s - first.onset_s <= CLUSTER_S] for first in tones
    ]
    return max(clusters, key=lambda c: sum(b.strength for b in c), default=[])


def page_of(
    visits: Sequence[ChordOccurrence], events: Sequence[PlayedGroup], passage: Passage, frames: int
) -> Singles:
    """What the network is told: expected onsets, expected sounding, and that a page is told."""
    page = no_page(frames)
    page[2] = 1.0
    time = np.arange(frames) * STEP_S
    for visit in visits:
        near = np.exp(-0.5 * ((time - visit.at_s) / BLUR_S) ** 2)
        for i in events[visit.event].notes:
            note = passage.notes[i]
            key = note.pitch - LOWEST_KEY
            if not 0 <= key < KEYS:
                continue
            page[0, :, key] = np.maximum(page[0, :, key], near)
            stop = visit.at_s + HELD * note.duration_beats * visit.period_s
            page[1, (time >= visit.at_s - EARLY_S) & (time < stop), key] = 1.0
    return page
