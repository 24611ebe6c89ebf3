"""Keys laid along a passage: which written note each key stands for, chords and two hands included.

Written notes that begin together are one event. Each key belongs to an event, or is an extra after
one; keys come in order of time, events mostly in order of the page, and the best explanation is the
path of least cost (a hidden Markov model of a performance: E. Nakamura, K. Yoshii and H. Katayose,
"Performance error detection and post-processing for fast and accurate symbolic music alignment",
Proc. ISMIR 2017). As there, keys of one hand that come after the other hand has gone on are put
back in a second step: a missing note takes an extra of its own pitch near its time.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import groupby

import numpy as np
import numpy.typing as npt

from coldtake.listening.features.tempo import local_period
from coldtake.listening.keyboard.midi_performance import MidiNote
from coldtake.music.passage import TOGETHER_BEATS, Passage

Floats = npt.NDArray[np.float64]
TOGETHER_S = 0.05  # keys of one chord; two careful pianists' chords spread over 24-38 ms
WRONG, EXTRA, SKIP, JUMP = 3.0, 3.4, 2.6, 7.5  # costs; a wrong pitch, a key too many, an event left
NEAR_KEY = 0.8  # less for a neighbouring key: fingers slip
LONGEST_CHORD_S = 0.1  # within which a chord that is only heard has begun altogether
AGAIN = 2.5  # of staying with an event that was left behind in time
MOST_LATE, LATE_SHARE, LATE_S = (
    2.4,
    0.25,
    0.05,
)  # cost of coming at another time than the tempo says
PUT_BACK_S = 0.20  # a missing note takes an extra so near to its time
FURTHEST_SKIP = 3


@dataclass(frozen=True)
class PlayedGroup:
    """Written notes that begin together: their indices in the passage, and their beat."""

    beat: float
    notes: tuple[int, ...]
    pitches: tuple[int, ...]


@dataclass(frozen=True)
class PathPoint:
    """Where one key stands: its event, or an extra after that."""

    event: int
    extra: bool


@dataclass(frozen=True)
class WentBack:
    """Play went back: when [s], and from which event to which."""

    at_s: float
    from_event: int
    to_event: int


@dataclass
class Matched:
    """The explanation of a performance.

    played : note index to its press, the last playing of each; wrong : those with another pitch
    extras : presses that stand for nothing; goings : in order of time
    """

    events: tuple[PlayedGroup, ...]
    played: dict[int, MidiNote] = field(default_factory=dict)
    wrong: set[int] = field(default_factory=set)
    extras: list[tuple[int, MidiNote]] = field(default_factory=list)
    goings: list[WentBack] = field(default_factory=list)


def events_of(passage: Passage) -> tuple[PlayedGroup, ...]:
    """The passage as events in order."""
    order = sorted(range(len(passage.notes)), key=lambda i: passage.notes[i].onset_beats)
    found = []
    for _, group in groupby(
        order, key=lambda i: round(passage.notes[i].onset_beats / (1e3 * TOGETHER_BEATS))
    ):
        at = tuple(group)
        pitches = tuple(passage.notes[i].pitch for i in at)
        found.append(PlayedGroup(passage.notes[at[0]].onset_beats, at, pitches))
    return tuple(found)


def match_keys(presses: Sequence[MidiNote], passage: Passage) -> Matched:
    """Explain a performance: at first without a tempo, then with the one that was found."""
    events = events_of(passage)
    return _put_back(_collected(presses, lay_keys(presses, events), events), passage)


def lay_keys(
    presses: Sequence[MidiNote], events: Sequence[PlayedGroup], weights: Floats | None = None,
    *, again: float = AGAIN,
) -> list[PathPoint]:  # fmt: skip
    """Where each of at least one press stands: at first without a tempo, then with one.

    weights : how much each press counts, 0..1, where it was only heard; else all count wholly
    again : cost of staying with an event that was left behind in time; with weights by the time
    since the event began, so that no tone that was only feigned bridges the gap
    """
    sure = np.ones(len(presses)) if weights is None else weights
    stay = _Staying(again, since_begun=weights is not None)
    places = _path(presses, events, None, sure, stay)
    beats, times = _firsts(presses, places, events)
    period = local_period(beats, times) if len(beats) >= 3 else None
    return places if period is None else _path(presses, events, period, sure, stay)


@dataclass(frozen=True)
class _Staying:
    """What it costs to stay with an event in spite of a pause."""

    most: float
    since_begun: bool

    def cost(self, gap_s: float, age_s: Floats) -> Floats:
        """By the pause before this press, or by the age of each state's event [s]."""
        late = age_s - LONGEST_CHORD_S if self.since_begun else np.full_like(age_s, gap_s)
        return np.clip((late - TOGETHER_S) / 0.05, 0.0, 1.0) * self.most


def _path(
    presses: Sequence[MidiNote], events: Sequence[PlayedGroup],
    period: tuple[Floats, Floats] | None, weights: Floats, stay: _Staying,
) -> list[PathPoint]:  # fmt: skip
    """The path of least cost; states are (belongs, extra) by event."""
    n = len(events)
    beats = np.array([e.beat for e in events])
    fit = _pitch_costs(events)
    cost = np.stack([np.minimum(SKIP * np.arange(n), JUMP), np.full(n, np.inf)])
    cost[1, 0] = EXTRA * weights[0]
    cost[0] += weights[0] * fit[presses[0].pitch]
    begun = np.full((2, n), presses[0].onset_s)
    back = np.zeros((len(presses), 2, n), np.int32)
    for k in range(1, len(presses)):
        gap = presses[k].onset_s - presses[k - 1].onset_s
        now = presses[k].onset_s
        rate = None if period is None else float(np.interp(now, *period))
        again = stay.cost(gap, now - begun)
        new, came = _entered(cost, begun, now, again, beats, rate)
        fresh = np.where(came % n == np.arange(n), begun.reshape(-1)[came], now)
        belongs = new + weights[k] * fit[presses[k].pitch]
        stays = cost.argmin(axis=0)
        extra = cost.min(axis=0) + EXTRA * weights[k]
        back[k, 0], back[k, 1] = came, stays * n + np.arange(n)
        begun = np.stack([fresh, begun[stays, np.arange(n)]])
        cost = np.stack([belongs, extra])
    return _traced(cost, back, n)


def _pitch_costs(events: Sequence[PlayedGroup]) -> Floats:
    """Cost of a key of each pitch in each event, shape (128, events)."""
    out = np.full((128, len(events)), WRONG)
    for k, event in enumerate(events):
        for pitch in event.pitches:
            for near in (pitch - 2, pitch - 1, pitch + 1, pitch + 2):
                if 0 <= near < 128:
                    out[near, k] = min(out[near, k], WRONG - NEAR_KEY)
    for k, event in enumerate(events):
        out[list(event.pitches), k] = 0.0
    return out


def _entered(
    cost: Floats, begun: Floats, now: float, again: Floats, beats: Floats, rate: float | None
) -> tuple[Floats, npt.NDArray[np.int64]]:
    """Least cost of belonging to each event, and the state that it came from."""
    n = cost.shape[1]
    flat = cost.reshape(-1)
    best, came = np.full(n, np.inf), np.zeros(n, np.int64)

    def offer(price: Floats, first: int, source: npt.NDArray[np.int64]) -> None:
        better = price < best[first : first + len(price)]
        best[first : first + len(price)] = np.where(better, price, best[first : first + len(price)])
        came[first : first + len(price)] = np.where(
            better, source, came[first : first + len(price)]
        )

    where = np.arange(n)
    for kind in (0, 1):
        offer(cost[kind] + again[kind], 0, kind * n + where)
        for ahead in range(1, min(FURTHEST_SKIP, n - 1) + 1):
            price = cost[kind, : n - ahead] + SKIP * (ahead - 1)
            if rate is not None:
                expected = (beats[ahead:] - beats[: n - ahead]) * rate
                off = np.abs(now - begun[kind, : n - ahead] - expected)
                scale = LATE_S + LATE_SHARE * expected
                price = price + np.minimum(0.5 * (off / scale) ** 2, MOST_LATE)
            offer(price, ahead, kind * n + where[: n - ahead])
    from_any = int(np.argmin(flat))
    offer(np.full(n, flat[from_any] + JUMP), 0, np.full(n, from_any))
    return best, came


def _traced(cost: Floats, back: npt.NDArray[np.int32], n: int) -> list[PathPoint]:
    left = np.arange(n)[::-1]
    at = int(np.argmin(cost + np.minimum(SKIP * left, JUMP)))
    places = []
    for k in range(len(back) - 1, -1, -1):
        places.append(PathPoint(at % n, at >= n))
        at = int(back[k].reshape(-1)[at])
    return places[::-1]


def _firsts(
    presses: Sequence[MidiNote], places: Sequence[PathPoint], events: Sequence[PlayedGroup]
) -> tuple[Floats, Floats]:
    """Beat and time of the first key of each visit to an event."""
    beats, times, last = [], [], -1
    for press, place in zip(presses, places, strict=True):
        if not place.extra and place.event != last:
            beats.append(events[place.event].beat)
            times.append(press.onset_s)
            last = place.event
    return np.array(beats), np.array(times)


def _collected(
    presses: Sequence[MidiNote], places: Sequence[PathPoint], events: tuple[PlayedGroup, ...]
) -> Matched:
    """Visits to events become notes; going back forgets what is played again."""
    out = Matched(events)
    visit: list[MidiNote] = []
    at = -1

    def leave() -> None:
        if visit:
            _match_event(out, at, visit)
            visit.clear()

    for press, place in zip(presses, places, strict=True):
        if place.extra:
            out.extras.append((max(at, 0), press))
            continue
        if place.event < at:
            leave()
            out.goings.append(WentBack(press.onset_s, at, place.event))
            _forget(out, place.event)
        elif place.event != at:
            leave()
        at = place.event
        visit.append(press)
    leave()
    return out


def _forget(out: Matched, event: int) -> None:
    gone = {i for e in out.events[event:] for i in e.notes}
    out.played = {i: p for i, p in out.played.items() if i not in gone}
    out.wrong -= gone
    out.extras = [(e, p) for e, p in out.extras if e < event]


def _match_event(out: Matched, at: int, visit: Sequence[MidiNote]) -> None:
    """Keys of one visit to the event's notes: the same pitch first, then the nearest."""
    event = out.events[at]
    open_notes = dict(zip(event.notes, event.pitches, strict=True))
    left = []
    for press in visit:
        same = next((i for i, p in open_notes.items() if p == press.pitch), None)
        if same is None:
            left.append(press)
            continue
        out.played[same] = press
        del open_notes[same]
    _share_keys(out, event.notes, open_notes)
    for press in left:
        if not open_notes:
            out.extras.append((at, press))
            continue
        near = min(open_notes, key=lambda i: abs(open_notes[i] - press.pitch))
        out.played[near] = press
        out.wrong.add(near)
        del open_notes[near]


def _share_keys(out: Matched, notes: Sequence[int], open_notes: dict[int, int]) -> None:
    """Voices that meet on one key are all played by it: nobody can press it twice at once."""
    pressed = {p.pitch: p for i in notes if (p := out.played.get(i)) and i not in out.wrong}
    for i in [i for i, pitch in open_notes.items() if pitch in pressed]:
        out.played[i] = pressed[open_notes.pop(i)]


def _put_back(out: Matched, passage: Passage) -> Matched:
    """Missing or wrong notes take an extra of their own pitch near their time."""
    for event in out.events:
        near = [out.played[i].onset_s for i in event.notes if i in out.played]
        time = float(np.median(near)) if near else _between(out, event)
        for i in event.notes:
            if time is None or (i in out.played and i not in out.wrong):
                continue
            pitch = passage.notes[i].pitch
            found = next(
                (
                    e
                    for e in out.extras
                    if e[1].pitch == pitch and abs(e[1].onset_s - time) <= PUT_BACK_S
                ),
                None,
            )
            if found is None:
                continue
            if i in out.wrong:
                out.extras.append((found[0], out.played[i]))
                out.wrong.discard(i)
            out.extras.remove(found)
            out.played[i] = found[1]
        missing = {i: passage.notes[i].pitch for i in event.notes if i not in out.played}
        _share_keys(out, event.notes, missing)
    out.extras.sort(key=lambda e: e[1].onset_s)
    return out


def _between(out: Matched, event: PlayedGroup) -> float | None:
    """When an event of which nothing was played should have come."""
    known = sorted(
        (e.beat, min(out.played[i].onset_s for i in e.notes if i in out.played))
        for e in out.events
        if any(i in out.played for i in e.notes)
    )
    before = [k for k in known if k[0] < event.beat]
    after = [k for k in known if k[0] > event.beat]
    if not before or not after:
        return None
    (b0, t0), (b1, t1) = before[-1], after[0]
    return t0 + (t1 - t0) * (event.beat - b0) / (b1 - b0)
