"""Human-like performances of a passage with known faults: what was played, and the truth about it.

Timing is a slow tempo curve (drift, rubato), a swing ratio where asked, and independent jitter per
note; then at most a few faults are put in. Truth is in acoustic onsets (`band.rise_of`).
"""

from dataclasses import dataclass, field, replace

import numpy as np
from band import Instrument, Played, Rise, rise_of, start_used, tuning_of

from coldtake.music.passage import Passage

FAULTS = ("semitone", "octave", "other", "skipped", "extra", "mistuned", "late", "restart")


@dataclass(frozen=True)
class Manner:
    """How a take is played; times in ms, tuning in cents, tempo relative to the mark."""

    tempo: float = 1.0
    jitter_ms: float = 10.0
    drift: float = 0.0
    rubato: float = 0.0
    swing: float = 1.0
    detune_cents: float = 0.0
    spread_cents: float = 4.0
    legato: float = 0.9
    loud: tuple[int, int] = (70, 100)


@dataclass
class NoteTruth:
    """What became of one written note."""

    status: str = "right"
    onset_s: float | None = None
    rise: Rise | None = None
    key: int | None = None
    cents: float = 0.0
    displaced: bool = False
    mistuned: bool = False
    other_onsets: tuple[float, ...] = ()  # earlier playings, before a restart
    off_s: float = 0.0  # acoustic onset after the player's own slow tempo, late positive


@dataclass
class Truth:
    """Everything that is known about a take."""

    notes: list[NoteTruth]
    extras: list[tuple[float, float]] = field(default_factory=list)  # onset s, pitch
    restarts: list[tuple[float, float]] = field(default_factory=list)  # at s, to beat
    faults: list[str] = field(default_factory=list)
    bpm: float = 0.0
    detune_cents: float = 0.0


@dataclass
class _Event:
    index: int | None  # written note, None for an extra
    start_s: float
    length_s: float
    key: int
    velocity: int
    cents: float
    status: str = "right"
    displaced: bool = False
    mistuned: bool = False
    clean_s: float = 0.0  # where the slow tempo has it, without jitter


def manner_of(rng: np.random.Generator) -> Manner:
    """A manner drawn at random from the range that people show."""
    return Manner(
        tempo=float(rng.uniform(0.8, 1.25)),
        jitter_ms=float(rng.choice([5.0, 15.0, 30.0], p=[0.4, 0.4, 0.2])),
        drift=float(rng.choice([0.0, rng.uniform(-0.08, 0.08)])),
        rubato=float(rng.choice([0.0, rng.uniform(0.03, 0.1)], p=[0.65, 0.35])),
        swing=float(rng.choice([1.0, rng.uniform(1.3, 2.0)], p=[0.85, 0.15])),
        detune_cents=float(rng.uniform(-30, 30)),
        spread_cents=float(rng.uniform(1, 6)),
        legato=float(rng.choice([0.6, 0.85, 0.98, 1.02])),
        loud=(int(rng.integers(45, 75)), int(rng.integers(80, 115))),
    )


def times_of(
    passage: Passage, manner: Manner, rng: np.random.Generator
) -> tuple[np.ndarray, float]:
    """Start of each note [s] without jitter, and the mean tempo in quarters a minute."""
    bpm = (passage.written_bpm or 100.0) * manner.tempo
    grid = np.linspace(0.0, passage.length_beats, 400)
    phase, turns = rng.uniform(0, 2 * np.pi), rng.uniform(1.0, 2.5)
    x = grid / max(passage.length_beats, 1.0)
    relative = (
        1.0 + manner.drift * (x - 0.5) + manner.rubato * np.sin(2 * np.pi * turns * x + phase)
    )
    period = 60.0 / (bpm * relative)
    clock = np.concatenate([[0.0], np.cumsum(np.diff(grid) * 0.5 * (period[1:] + period[:-1]))])
    # Only eighths are swung: a line with shorter notes is played straight.
    eighths = all(abs(2 * n.onset_beats - round(2 * n.onset_beats)) < 1e-6 for n in passage.notes)
    swing = manner.swing if eighths else 1.0
    beats = np.array([_swung(n.onset_beats, swing) for n in passage.notes])
    return np.interp(beats, grid, clock), 60.0 * passage.length_beats / clock[-1]


def _swung(beat: float, ratio: float) -> float:
    whole, part = np.floor(beat + 1e-9), beat % 1.0
    if ratio == 1.0 or abs(part - 0.5) > 1e-6:
        return beat
    return float(whole + ratio / (1.0 + ratio))


def perform(
    passage: Passage,
    instrument: Instrument,
    bank: str,
    seed: int,
    *,
    faults: tuple[str, ...] = (),
    manner: Manner | None = None,
    lead_s: float | None = None,
) -> tuple[list[Played], Truth]:
    """Play a passage: the keys pressed and the truth about them."""
    rng = np.random.default_rng(seed)
    manner = manner or manner_of(rng)
    clean, bpm = times_of(passage, manner, rng)
    events = _plain(passage, manner, clean, rng)
    truth = Truth([NoteTruth() for _ in passage.notes], bpm=bpm, detune_cents=manner.detune_cents)
    taken: set[int] = set()
    for fault in faults:
        if _put(fault, events, passage, instrument, manner, rng, taken, truth, bpm):
            truth.faults.append(fault)
    lead = float(rng.uniform(0.2, 1.2)) if lead_s is None else lead_s
    first = min(e.start_s for e in events)
    for e in events:
        e.start_s += lead - first
        e.clean_s += lead - first
    truth.restarts = [(at + lead - first, beat) for at, beat in truth.restarts]
    return _sounded(events, truth, instrument, bank)


def _plain(
    passage: Passage, manner: Manner, clean: np.ndarray, rng: np.random.Generator
) -> list[_Event]:
    notes, low_high = passage.notes, manner.loud
    swell = 0.5 + 0.5 * np.sin(np.linspace(0, rng.uniform(3, 9), len(notes)) + rng.uniform(0, 6))
    loud = low_high[0] + (low_high[1] - low_high[0]) * swell + rng.normal(0, 3, len(notes))
    # Rounded to steps of 4 so that the measured rises can be kept.
    velocity = np.clip(np.round(loud / 4) * 4, 30, 124).astype(int)
    starts = clean + np.clip(rng.normal(0, manner.jitter_ms / 1e3, len(notes)), -0.09, 0.09)
    gaps = np.diff(np.append(clean, clean[-1] + notes[-1].duration_beats * 0.6))
    for k in range(1, len(notes)):
        starts[k] = max(starts[k], starts[k - 1] + 0.6 * gaps[k - 1])
    cents = manner.detune_cents + rng.normal(0, manner.spread_cents, len(notes))
    spans = np.append(np.diff(starts), gaps[-1])
    events = []
    for k, n in enumerate(notes):
        written = n.duration_beats * gaps[k] / max(_gap_beats(passage, k), 1e-6)
        # Nobody holds a note into the stroke of the same note.
        again = k + 1 < len(notes) and notes[k + 1].pitch == n.pitch
        legato = min(manner.legato, 0.94) if again else manner.legato
        length = min(spans[k] * legato, written * legato)
        events.append(
            _Event(
                k, float(starts[k]), float(length), n.pitch, int(velocity[k]), float(cents[k]),
                clean_s=float(clean[k]),
            )
        )  # fmt: skip
    return events


def _gap_beats(passage: Passage, k: int) -> float:
    if k + 1 < len(passage.notes):
        return passage.notes[k + 1].onset_beats - passage.notes[k].onset_beats
    return passage.notes[k].duration_beats


def _put(
    fault: str,
    events: list[_Event],
    passage: Passage,
    instrument: Instrument,
    manner: Manner,
    rng: np.random.Generator,
    taken: set[int],
    truth: Truth,
    bpm: float,
) -> bool:
    """Put one fault in at a place where nothing was changed yet; False where there is none."""
    spots = [k for k, e in enumerate(events) if _free(k, e, events, taken, fault)]
    if not spots:
        return False
    k = int(rng.choice(spots))
    event = events[k]
    if event.index is not None:
        taken.update(range(event.index - 1, event.index + 2))
    match fault:
        case "semitone" | "octave" | "other":
            event.key = _wrong_key(fault, event.key, events, k, instrument, rng)
            event.status = "wrong"
        case "skipped":
            events.pop(k)
            truth.notes[event.index].status = "missed"
        case "extra":
            _insert_extra(events, k, rng)
        case "mistuned":
            event.cents += float(rng.choice([-1, 1]) * rng.uniform(38, 48))
            event.mistuned = True
        case "late":
            _displace(events, k, manner, rng)
        case "restart":
            _restart(events, k, passage, truth, rng, bpm)
    return True


def _free(k: int, e: _Event, events: list[_Event], taken: set[int], fault: str) -> bool:
    if e.index is None or e.index in taken or e.status != "right":
        return False
    if k == 0 or k + 1 >= len(events) or events[k - 1].index is None or events[k + 1].index is None:
        return False
    room = events[k + 1].start_s - e.start_s
    before = e.start_s - events[k - 1].start_s
    if fault == "extra":
        return room > 0.24
    if fault == "late":
        return room > 0.2 and before > 0.2
    if fault == "restart":
        return k >= 3
    return True


def _wrong_key(
    fault: str,
    key: int,
    events: list[_Event],
    k: int,
    instrument: Instrument,
    rng: np.random.Generator,
) -> int:
    moves = {"semitone": (-1, 1), "octave": (-12, 12), "other": (-5, -4, -3, -2, 2, 3, 4, 5)}[fault]
    near = {events[k - 1].key, events[k + 1].key}
    keys = [key + m for m in moves if instrument.low <= key + m <= instrument.high]
    apart = [x for x in keys if x not in near] or keys
    return int(rng.choice(apart)) if apart else key + 1


def _insert_extra(events: list[_Event], k: int, rng: np.random.Generator) -> None:
    event, after = events[k], events[k + 1]
    room = after.start_s - event.start_s
    start = event.start_s + room * float(rng.uniform(0.45, 0.6))
    move = int(rng.choice([-2, -1, 1, 2, 0]))
    event.length_s = min(event.length_s, (start - event.start_s) * 0.95)
    length = (after.start_s - start) * 0.9
    events.insert(
        k + 1, _Event(None, start, length, event.key + move, event.velocity, event.cents, "extra")
    )


def _displace(events: list[_Event], k: int, manner: Manner, rng: np.random.Generator) -> None:
    before, event, after = events[k - 1], events[k], events[k + 1]
    size = max(0.075, 4.0 * manner.jitter_ms / 1e3) + float(rng.uniform(0, 0.04))
    sign = 1.0 if rng.random() < 0.7 else -1.0
    room = (after.start_s - event.start_s) if sign > 0 else (event.start_s - before.start_s)
    if room < size + 0.06:
        size = room - 0.06
    event.start_s += sign * size
    if sign > 0:
        event.length_s = min(event.length_s, after.start_s - event.start_s)
    else:
        before.length_s = min(before.length_s, event.start_s - before.start_s)
    event.displaced = size >= max(0.06, 3.0 * manner.jitter_ms / 1e3)


def _restart(
    events: list[_Event],
    k: int,
    passage: Passage,
    truth: Truth,
    rng: np.random.Generator,
    bpm: float,
) -> None:
    """Stop after event k, wait, go back some notes and play on from there."""
    back = max(0, k - int(rng.integers(1, 6)))
    while events[back].index is None or events[back].status != "right":
        back -= 1
    pause = float(rng.uniform(0.5, 1.6)) * 60.0 / bpm
    stop = events[k].start_s + events[k].length_s + pause
    move = stop - events[back].start_s
    again = [
        replace(e, start_s=e.start_s + move, clean_s=e.clean_s + move)
        for e in events[back:]
        if e.index is not None
    ]
    truth.restarts.append((stop, passage.notes[events[back].index].onset_beats))
    events[k + 1 :] = again


def _sounded(
    events: list[_Event], truth: Truth, instrument: Instrument, bank: str
) -> tuple[list[Played], Truth]:
    played = []
    for e in events:
        start = start_used(e.start_s)
        played.append(Played(start, e.start_s + max(e.length_s, 0.05), e.key, e.velocity, e.cents))
        rise = rise_of(bank, instrument.program, e.key, e.velocity)
        onset = start + rise.onset_s
        if e.index is None:
            truth.extras.append((onset, e.key + e.cents / 100.0))
            continue
        note = truth.notes[e.index]
        if note.onset_s is not None:
            note.other_onsets = (*note.other_onsets, note.onset_s)
        note.status, note.onset_s, note.rise, note.key = e.status, onset, rise, e.key
        length = min(max(round(e.length_s * 20) / 20, 0.1), 1.1)
        sample = tuning_of(bank, instrument.program, e.key, e.velocity, length)
        note.cents, note.displaced, note.mistuned = e.cents + sample, e.displaced, e.mistuned
        note.off_s = onset - e.clean_s
    return played, truth
