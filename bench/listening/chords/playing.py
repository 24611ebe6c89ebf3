"""Human-like takes of chords with known faults, and the truth about every note.

Chords are spread as hands spread them (within 50 ms), hands differ in loudness, tempo drifts and
bends, and a few faults are put in: a wrong semitone, octave or other pitch, a note or a whole chord
left out, a note too many, a note or a chord clearly late, going back.
"""

from dataclasses import dataclass, field, replace

import numpy as np
from band import Played, Rise, rise_of, start_used

from coldtake.music.passage import Passage

FAULTS = (
    "semitone", "octave", "other", "missed", "missed", "extra", "late", "chord", "restart", "apart",
)  # fmt: skip


@dataclass
class NoteTruth:
    """What became of one written note; onset_s as it is heard."""

    status: str = "right"
    onset_s: float | None = None
    key: int | None = None
    rise: Rise | None = None
    displaced: bool = False
    other_onsets: tuple[float, ...] = ()


@dataclass
class Truth:
    """Everything that is known about a take."""

    notes: list[NoteTruth]
    extras: list[tuple[float, int]] = field(default_factory=list)  # onset s, key
    restarts: list[tuple[float, float]] = field(default_factory=list)  # at s, to beat
    faults: list[str] = field(default_factory=list)
    bpm: float = 0.0

    @property
    def clean(self) -> bool:
        """Whether every note was played, and no other."""
        return not self.extras and not self.restarts and all(
            n.status == "right" for n in self.notes
        )  # fmt: skip


@dataclass
class _Event:
    index: int | None
    start_s: float
    length_s: float
    key: int
    velocity: int
    status: str = "right"
    displaced: bool = False


def perform_chords(
    passage: Passage, program: int, bank: str, seed: int, *, low: int, high: int,
    faults: tuple[str, ...] = (),
) -> tuple[list[Played], Truth]:  # fmt: skip
    """Play a passage: the keys pressed and the truth about them."""
    rng = np.random.default_rng([seed, 23])
    events, bpm = _plain(passage, rng)
    truth = Truth([NoteTruth("missed") for _ in passage.notes], bpm=bpm)
    taken: set[float] = set()
    for fault in faults:
        if _put(fault, events, passage, rng, taken, truth, bpm, low, high):
            truth.faults.append(fault)
    lead = float(rng.uniform(0.2, 1.0)) - min(e.start_s for e in events)
    for e in events:
        e.start_s += lead
    truth.restarts = [(at + lead, beat) for at, beat in truth.restarts]
    cents = float(rng.uniform(-25, 25))
    return _sounded(_cut(events), truth, program, bank, cents)


def _clock(passage: Passage, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, float]:
    bpm = (passage.written_bpm or 90.0) * float(rng.uniform(0.85, 1.2))
    grid = np.linspace(0.0, passage.length_beats, 400)
    x = grid / passage.length_beats
    drift = float(rng.choice([0.0, rng.uniform(-0.08, 0.08)]))
    rubato = float(rng.choice([0.0, rng.uniform(0.02, 0.08)], p=[0.6, 0.4]))
    wave = np.sin(2 * np.pi * rng.uniform(1, 2.5) * x + rng.uniform(0, 6))
    period = 60.0 / (bpm * (1 + drift * (x - 0.5) + rubato * wave))
    time = np.concatenate([[0.0], np.cumsum(np.diff(grid) * 0.5 * (period[1:] + period[:-1]))])
    return grid, time, bpm


def _plain(passage: Passage, rng: np.random.Generator) -> tuple[list[_Event], float]:
    grid, time, bpm = _clock(passage, rng)
    jitter = float(rng.choice([0.005, 0.012, 0.022]))
    spread = float(rng.choice([0.002, 0.008, 0.014]))
    legato = float(rng.choice([0.7, 0.9, 0.97]))
    middle = float(np.median([n.pitch for n in passage.notes]))
    upper, lower = rng.uniform(70, 105), rng.uniform(55, 95)
    swing = rng.uniform(0, 10)
    at = {b: float(rng.normal(0, jitter)) for b in {n.onset_beats for n in passage.notes}}
    events = []
    for k, n in enumerate(passage.notes):
        start = float(np.interp(n.onset_beats, grid, time)) + at[n.onset_beats]
        start += float(np.clip(rng.normal(0, spread), -0.024, 0.024))
        stop = float(np.interp(min(n.end_beats, grid[-1]), grid, time))
        length = max((stop - start) * legato, 0.07)
        base = upper if n.pitch >= middle else lower
        loud = base + swing * np.sin(n.onset_beats) + rng.normal(0, 4)
        velocity = int(np.clip(round(loud / 4) * 4, 32, 120))
        events.append(_Event(k, start, length, n.pitch, velocity))
    return events, bpm


def _put(  # noqa: C901
    fault: str, events: list[_Event], passage: Passage, rng: np.random.Generator,
    taken: set[float], truth: Truth, bpm: float, low: int, high: int,
) -> bool:  # fmt: skip
    beats = sorted({n.onset_beats for n in passage.notes})
    spots = [
        k
        for k, e in enumerate(events)
        if e.index is not None and passage.notes[e.index].onset_beats not in taken
        and beats[0] < passage.notes[e.index].onset_beats < beats[-1]
    ]  # fmt: skip
    if not spots:
        return False
    k = int(rng.choice(spots))
    event = events[k]
    assert event.index is not None
    beat = passage.notes[event.index].onset_beats
    at = beats.index(beat)
    taken.update(beats[max(at - 1, 0) : at + 2])
    chord = [e for e in events if e.index is not None and _beat(passage, e) == beat]
    match fault:
        case "semitone" | "octave" | "other":
            return _wrong(fault, event, events, rng, low, high)
        case "missed":
            events.remove(event)
        case "chord":
            for e in chord:
                events.remove(e)
        case "extra":
            return _extra(event, events, rng, low, high)
        case "late":
            for e in chord:
                e.start_s += 0.11
                e.length_s = max(e.length_s - 0.11, 0.07)
                e.displaced = True
        case "apart":
            if len(chord) < 2:
                return False
            event.start_s += 0.09
            event.length_s = max(event.length_s - 0.09, 0.07)
            event.displaced = True
        case "restart":
            return _restart(events, beat, beats, passage, truth, rng, bpm)
    return True


def _beat(passage: Passage, event: _Event) -> float:
    assert event.index is not None
    return passage.notes[event.index].onset_beats


def _sounds(events: list[_Event], start_s: float, key: int) -> bool:
    """Whether a key is pressed around a moment anyhow, so that a fault there would be none."""
    return any(
        e.key == key and e.start_s - 0.3 < start_s < e.start_s + e.length_s + 0.3 for e in events
    )


def _wrong(
    fault: str, event: _Event, events: list[_Event], rng: np.random.Generator, low: int, high: int
) -> bool:
    moves = {"semitone": (-1, 1), "octave": (-12, 12), "other": (-5, -4, -3, -2, 2, 3, 4, 5)}[fault]
    keys = [
        event.key + m
        for m in moves
        if low <= event.key + m <= high and not _sounds(events, event.start_s, event.key + m)
    ]
    if not keys:
        return False
    event.key, event.status = int(rng.choice(keys)), "wrong"
    return True


def _extra(
    event: _Event, events: list[_Event], rng: np.random.Generator, low: int, high: int
) -> bool:
    moves = [-2, -1, 1, 2, 3, 4, 5, -3, 12]
    keys = [
        event.key + m
        for m in moves
        if low <= event.key + m <= high and not _sounds(events, event.start_s, event.key + m)
    ]
    if not keys:
        return False
    start = event.start_s + float(rng.choice([0.0, rng.uniform(0.15, 0.3)]))
    key = int(rng.choice(keys))
    events.append(_Event(None, start, max(event.length_s, 0.12), key, event.velocity, "extra"))
    return True


def _restart(
    events: list[_Event], beat: float, beats: list[float], passage: Passage, truth: Truth,
    rng: np.random.Generator, bpm: float,
) -> bool:  # fmt: skip
    """Stop after a chord, wait, go back some chords and play on from there."""
    at = beats.index(beat)
    if at < 3 or truth.restarts:
        return False
    back = beats[max(at - int(rng.integers(1, 6)), 0)]
    before = [e for e in events if e.index is None or _beat(passage, e) <= beat]
    again = [replace(e) for e in events if e.index is not None and _beat(passage, e) >= back]
    if not again or not before:
        return False
    stop = max(e.start_s + e.length_s for e in before if e.index is not None)
    stop += float(rng.uniform(0.5, 1.6)) * 60.0 / bpm
    move = stop - min(e.start_s for e in again)
    for e in again:
        e.start_s += move
    late = [e for e in events if e.index is None and e not in before]
    for e in late:
        e.start_s += move
    events[:] = [*before, *again]
    truth.restarts.append((stop, back))
    return True


def _cut(events: list[_Event]) -> list[_Event]:
    """Nobody holds a key into its next stroke."""
    events = sorted(events, key=lambda e: e.start_s)
    last: dict[int, _Event] = {}
    for e in events:
        before = last.get(e.key)
        if before is not None:
            before.length_s = min(before.length_s, max(e.start_s - before.start_s - 0.03, 0.05))
        last[e.key] = e
    return events


def _sounded(
    events: list[_Event], truth: Truth, program: int, bank: str, cents: float
) -> tuple[list[Played], Truth]:
    played = []
    for e in events:
        start = start_used(e.start_s)
        played.append(Played(start, e.start_s + max(e.length_s, 0.05), e.key, e.velocity, cents))
        rise = rise_of(bank, program, e.key, e.velocity)
        onset = start + rise.onset_s
        if e.index is None:
            truth.extras.append((onset, e.key))
            continue
        note = truth.notes[e.index]
        if note.onset_s is not None:
            note.other_onsets = (*note.other_onsets, note.onset_s)
        note.status, note.onset_s, note.rise, note.key = e.status, onset, rise, e.key
        note.displaced = e.displaced
    return played, truth
