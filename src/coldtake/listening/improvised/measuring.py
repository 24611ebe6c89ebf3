"""Notes on beats over changes: what sounded over each chord, and the figures of the whole.

Definitions (common practice where nothing else is said, no source):

- Sounded time: a note from its beginning to its end. Sound that begins at most an eighth before a
  chord and is held into it belongs to that chord (an anticipation).
- On a strong beat: the note that begins there, else the one that sounds across it.
- Arrival: a guide tone (third or seventh, or what stands for them) of the new chord sounds within
  one beat of the change. Changes at which nothing sounds are not counted.
- Silence: from the end of a note to the next beginning, also before the first and after the last.
- Phrase: sound without a silence of a beat or more.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coldtake.listening.improvised.harmony import ChordSpan, ChordTimeline, NamedScale

EARLY_BEATS = 0.55  # an eighth, swung or not, and some room
HELD_BEATS = 0.1
NEAR_BEATS = 0.17  # from a strong beat
ARRIVAL_BEATS = 1.0
BREATH_BEATS, BREATH_ROOM = 1.0, 0.2


@dataclass(frozen=True, slots=True)
class OnBeats:
    """A note with its beats from the start of the first chorus [quarters]; pitch sounding."""

    onset: float
    offset: float
    pitch: int
    sure: bool


@dataclass(frozen=True, slots=True)
class Share:
    """hits of count, unsure ones left out; unsure : how many (or how much) could not be told."""

    hits: float
    count: float
    unsure: float

    @property
    def percent(self) -> float | None:
        """Share of the told ones, None where there are none."""
        return 100.0 * self.hits / self.count if self.count > 0 else None

    @property
    def doubt_percent(self) -> float:
        """How far the unsure ones could move the share at most."""
        whole = self.count + self.unsure
        return 100.0 * self.unsure / whole if whole > 0 else 0.0


@dataclass(frozen=True, slots=True)
class OverChord:
    """What sounded over one place. time in beats."""

    place: ChordSpan
    scale: NamedScale | None
    sounded: float
    inside: Share
    strong: Share
    arrived: bool | None
    notes: int


@dataclass(frozen=True, slots=True)
class Measured:
    """Figures of an improvisation; lengths in beats; longest_phrase as (least, most) it may be."""

    chords: tuple[OverChord, ...]
    longest_silence: float
    silence_at: float
    longest_phrase: tuple[float, float]
    phrases: tuple[float, ...]
    per_bar: float
    notes: tuple[OnBeats, ...]

    @property
    def in_scale(self) -> Share:
        """Sounded time in beats inside a scale of the chord."""
        return _sum([c.inside for c in self.chords])

    @property
    def strong(self) -> Share:
        """Notes on strong beats that are chord tones."""
        return _sum([c.strong for c in self.chords])

    @property
    def arrivals(self) -> Share:
        """Changes of chord met by a guide tone."""
        told = [c.arrived for c in self.chords if c.arrived is not None]
        return Share(float(sum(told)), float(len(told)), 0.0)


def _sum(shares: Sequence[Share]) -> Share:
    return Share(*(sum(getattr(s, k) for s in shares) for k in ("hits", "count", "unsure")))


def measured(notes: Sequence[OnBeats], ground: ChordTimeline) -> Measured:
    """Measure notes, ordered by onset, over the ground."""
    inside = [n for n in notes if n.offset > 0 and n.onset < ground.length_beats]
    parts = [_parts(n, ground.places) for n in inside]
    scales = _scales_meant(inside, parts, ground)
    chords = tuple(
        _over(k, place, inside, parts, scales.get(place.harmony), ground)
        for k, place in enumerate(ground.places)
    )
    silence, at = _longest_silence(inside, ground.length_beats)
    phrases = _phrases(inside, BREATH_BEATS, ground)
    most = max(_phrases(inside, BREATH_BEATS + BREATH_ROOM, ground), default=0.0)
    least = max(_phrases(inside, BREATH_BEATS - BREATH_ROOM, ground), default=0.0)
    begun = [n for n in inside if n.onset >= -EARLY_BEATS]
    per_bar = len(begun) / (ground.length_beats / ground.bar_beats)
    return Measured(chords, silence, at, (least, most), phrases, per_bar, tuple(inside))


def _parts(note: OnBeats, places: Sequence[ChordSpan]) -> dict[int, float]:
    """Counted beats of a note by number of place."""
    found = {}
    for k, place in enumerate(places):
        start, stop = place.onset_beats, place.end_beats
        if note.offset <= start or note.onset >= stop:
            continue
        begins = k > 0 and places[k - 1].harmony != place.harmony
        ends = k + 1 < len(places) and places[k + 1].harmony != place.harmony
        if ends and _anticipates(note, stop):
            continue
        early = begins and _anticipates(note, start)
        found[k] = min(note.offset, stop) - (note.onset if early else max(note.onset, start))
    return found


def _anticipates(note: OnBeats, start: float) -> bool:
    return start - EARLY_BEATS <= note.onset < start and note.offset > start + HELD_BEATS


def _scales_meant(
    notes: Sequence[OnBeats], parts: Sequence[dict[int, float]], ground: ChordTimeline
) -> dict[int, NamedScale]:
    """For each harmony the scale that holds most of its sound; the simplest of equals."""
    time: dict[int, dict[int, float]] = {}
    for note, part in zip(notes, parts, strict=True):
        for k, beats in part.items():
            classes = time.setdefault(ground.places[k].harmony, {})
            classes[note.pitch % 12] = classes.get(note.pitch % 12, 0.0) + beats * note.sure
    found: dict[int, NamedScale] = {}
    for place in ground.places:
        if place.scales and place.harmony not in found:
            sounded = time.get(place.harmony, {})
            found[place.harmony] = max(
                place.scales,
                key=lambda s: round(sum(sounded.get(c, 0.0) for c in s.classes), 6),
            )
    return found


def _over(
    k: int, place: ChordSpan, notes: Sequence[OnBeats], parts: Sequence[dict[int, float]],
    scale: NamedScale | None, ground: ChordTimeline,
) -> OverChord:  # fmt: skip
    mine = [(n, part[k]) for n, part in zip(notes, parts, strict=True) if k in part]
    sounded = sum(beats for _, beats in mine)
    told = [(n, beats) for n, beats in mine if n.sure] if scale else []
    hits = sum(b for n, b in told if scale and n.pitch % 12 in scale.classes)
    count = sum(b for _, b in told)
    inside = Share(hits, count, sounded - count if scale else 0.0)
    begun = sum(1 for n in notes if place.onset_beats <= n.onset < place.end_beats)
    arrived = _arrived(place, notes) if place.changes and place.guides else None
    return OverChord(
        place, scale, min(sounded, place.beats), inside, _strong(place, notes, ground), arrived,
        begun,
    )  # fmt: skip


def _strong(place: ChordSpan, notes: Sequence[OnBeats], ground: ChordTimeline) -> Share:
    hits, count, unsure = 0, 0, 0
    for at in ground.strong if place.root is not None else ():
        if not place.onset_beats <= at < place.end_beats:
            continue
        for note in _on(at, notes):
            count += note.sure
            hits += note.sure and note.pitch % 12 in place.tones
            unsure += not note.sure
    return Share(float(hits), float(count), float(unsure))


def _on(at: float, notes: Sequence[OnBeats]) -> list[OnBeats]:
    """The notes on a strong beat: those that begin there, else those that sound across it."""
    begun = [n for n in notes if abs(n.onset - at) <= NEAR_BEATS]
    return begun or [n for n in notes if n.onset < at and n.offset > at + NEAR_BEATS]


def _arrived(place: ChordSpan, notes: Sequence[OnBeats]) -> bool | None:
    start, stop = place.onset_beats, place.onset_beats + min(ARRIVAL_BEATS, place.beats)
    there = [
        n for n in notes
        if n.onset < stop - NEAR_BEATS and min(n.offset, stop) - max(n.onset, start) > HELD_BEATS
    ]  # fmt: skip
    if any(n.sure and n.pitch % 12 in place.guides for n in there):
        return True
    return False if any(n.sure for n in there) and all(n.sure for n in there) else None


def _longest_silence(notes: Sequence[OnBeats], length: float) -> tuple[float, float]:
    """(beats, where it begins)."""
    until, best, at = 0.0, 0.0, 0.0
    for note in notes:
        if note.onset - until > best:
            best, at = note.onset - until, until
        until = max(until, note.offset)
    return (length - until, until) if length - until > best else (best, at)


def _phrases(notes: Sequence[OnBeats], breath: float, ground: ChordTimeline) -> tuple[float, ...]:
    """Lengths of the phrases."""
    found: list[list[float]] = []
    for note in notes:
        if found and note.onset - found[-1][1] < breath:
            found[-1][1] = max(found[-1][1], note.offset)
        else:
            found.append([note.onset, note.offset])
    stop = ground.length_beats
    return tuple(float(np.clip(b, 0.0, stop) - max(a, 0.0)) for a, b in found)
