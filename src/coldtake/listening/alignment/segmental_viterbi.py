"""The passage laid along the recording: a segmental Viterbi path over the passage's notes.

The recording is cut at the candidate boundaries. Each piece is explained as one of

    RIGHT i  note i sounds          WRONG i  another pitch stands for note i
    REST i   silence after note i   EXTRA i  a tone that is not written, after note i

where i counts the notes begun so far. At a boundary a note may go on, stop, or the next begin;
notes may be skipped, and the player may go back or start in the middle. Beginning a note without
evidence of an attack or of a new pitch costs, and so does going on across an attack; a note that
begins far from where the last note and the local tempo put it costs a little, up to a limit, so
that a hesitation is never explained by wrong notes. The path of least cost is exact but for the
timing term, which uses the start of the last note on the best path into each state.

Viterbi decoding of segments: L. Rabiner, "A tutorial on hidden Markov models", Proc. IEEE 77, 1989;
score following with skips and jumps after N. Orio, S. Lemouton and D. Schwarz, NIME 2003.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import IntEnum
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from coldtake.listening.features.audio_features import PITCH_STEP_S, AudioFeatures, Floats
from coldtake.listening.features.boundary_candidates import Boundaries

Ints = npt.NDArray[np.int64]
Codes = npt.NDArray[np.int32]
Flags = npt.NDArray[np.bool_]


class Kind(IntEnum):
    """How a piece of the recording is explained."""

    RIGHT = 0
    WRONG = 1
    REST = 2
    EXTRA = 3


@dataclass(frozen=True)
class Costs:
    """Costs of the path; one unit is about one frame (16 ms) of a tone at the wrong pitch."""

    repeat_unstruck: float = 3.0
    begin_unstruck: float = 2.0
    begin_toneless: float = 3.0
    ignore_attack: float = 8.0  # of a certain attack; falls steeply for a doubtful one
    wrong: float = 3.0
    extra: float = 3.4
    attack_s: float = 0.09
    lead_in: float = 0.8
    out_of_lead_in: float = 1.6
    most_masked: float = 3.5
    masked: float = 0.8  # share of a first piece's cost waived where its partials grew
    skip: float = 3.4
    skip_again: float = 3.0
    jump: float = 6.5
    jump_sounding: float = 8.5
    start_inside: float = 5.0
    stop_inside: float = 5.0
    rest: float = 0.4
    frame_unknown: float = 0.16
    frame_octave: float = 0.55
    frame_silent: float = 0.12
    frame_rest_voiced: float = 0.5
    timing_most: float = 2.6
    timing_share: float = 0.10
    timing_s: float = 0.035


COSTS = Costs()
WIDE = 2.0  # semitones from an ornamented note to its neighbours
TURN_S = 0.35  # the longest tone of a trill, mordent or turn
NEAR, FAR = 0.35, 0.75  # semitones from the expected pitch: surely it, surely not
OCTAVES = (12.0, -12.0, 19.02, 24.0)  # where pitch detectors go astray
MOST_SKIPPED = 2  # notes that may be left out at once without a jump
FULL_FRAMES = 12  # frames of a piece that count in full; more count FURTHER each
FURTHER = 0.3
Period = Callable[[float], float]


@dataclass(frozen=True)
class Segment:
    """A stretch of the path with one explanation.

    kind; index : note begun last, 0-based, -1 before the first; start_s, stop_s [s]
    first_boundary : index of the boundary at its start; jumped : begun by going back or ahead
    """

    kind: Kind
    index: int
    start_s: float
    stop_s: float
    first_boundary: int
    jumped: bool = False


@dataclass(frozen=True, eq=False)
class Path:
    """The explanation of a whole recording, in order of time, and its cost."""

    pieces: tuple[Segment, ...]
    cost: float


def align(
    hearing: AudioFeatures,
    bounds: Boundaries,
    pitches: Ints,
    onset_beats: Floats,
    *,
    tuning: float = 0.0,
    grown: Floats | None = None,
    period: Period | None = None,
    ornamented: Flags | None = None,
    costs: Costs = COSTS,
) -> Path:
    """Find the path of least cost.

    pitches, onset_beats : shape (n,), n >= 1, the passage's notes in order
    tuning : semitones by which the take stands above equal temperament at 440 Hz
    grown : 0..1, how far the partials of each note grow across each boundary, shape (boundaries, n)
    period : seconds per beat at a time of the recording, where a tempo is already known
    ornamented : notes with a trill, mordent or turn, shape (n,): their neighbours belong to them,
        and so do new attacks
    """
    edges = np.concatenate([[0.0], bounds.times_s, [hearing.duration_s]])
    if ornamented is None:
        ornamented = np.zeros(len(pitches), dtype=bool)
    emission = _Emission(hearing, edges, pitches, tuning, ornamented, costs)
    if grown is None:
        grown = np.zeros((len(bounds), len(pitches)))
    search = _Search(bounds, pitches, onset_beats, emission, edges, grown, period, costs)
    search.calm[1:] = ~ornamented
    return search.run()


class _Front:
    """Best cost of every state at one moment, where it came from, and when its note began.

    Arrays of shape (4, n + 1): kind by "notes begun".
    """

    def __init__(self, n: int) -> None:
        self.cost = np.full((4, n + 1), np.inf)
        self.begun = np.full((4, n + 1), np.nan)
        self.came = np.full((4, n + 1), -1, np.int32)

    def offer(self, kind: Kind, first: int, cost: Floats, came: Codes, begun: Floats) -> None:
        """Take what is cheaper than the best so far, for states `first` and on of a kind."""
        better = cost < self.cost[kind, first:]
        np.copyto(self.cost[kind, first:], cost, where=better)
        np.copyto(self.came[kind, first:], came, where=better)
        np.copyto(self.begun[kind, first:], begun, where=better)


class _Search:
    """State of one search; position i stands for "i notes begun"."""

    def __init__(
        self,
        bounds: Boundaries,
        pitches: Ints,
        onset_beats: Floats,
        emission: "_Emission",
        edges: Floats,
        grown: Floats,
        period: Period | None,
        costs: Costs,
    ) -> None:
        self.c, self.bounds, self.period, self.grown = costs, bounds, period, grown
        self.edges, self.emission = edges, emission
        self.n = len(pitches)
        self.beats = np.concatenate([[np.nan], onset_beats])
        self._skipping(pitches)
        self.where = np.arange(self.n + 1, dtype=np.int32)
        self.calm = np.ones(self.n + 1)  # 0 where new attacks belong to the note that sounds
        self.inside = np.minimum(self.left_out[:-1], costs.start_inside)
        self.old = self.new = _Front(self.n)
        self.back = np.zeros((len(edges) - 1, 4, self.n + 1), np.int32)

    def _skipping(self, pitches: Ints) -> None:
        """Cost of leaving out notes; one struck again hardly shows on a slow instrument.

        left_out[i] : of the first i notes; skips[k][i] : of k notes after the first i;
        same[k][i] : whether the note begun after these has the pitch of note i
        """
        repeats = np.concatenate([[False], pitches[1:] == pitches[:-1]])
        each = np.where(repeats, self.c.skip_again, self.c.skip)
        self.left_out = np.concatenate([[0.0], np.cumsum(each)])
        self.most_skipped = min(MOST_SKIPPED + 1, self.n)
        self.skips = [
            self.left_out[k:-1] - self.left_out[: self.n - k] for k in range(self.most_skipped)
        ]
        padded = np.concatenate([[-1], pitches])
        self.same = [padded[: self.n - k] == padded[1 + k :] for k in range(self.most_skipped)]

    def run(self) -> Path:
        self._start()
        for piece in range(1, len(self.edges) - 1):
            self._cross(piece)
        return self._trace()

    def _start(self) -> None:
        """The first piece is silence, something before the start, or a note cut into."""
        front = self.new
        front.cost[Kind.REST, 0] = 0.0
        front.cost[Kind.EXTRA, 0] = self.c.lead_in
        front.cost[Kind.RIGHT, 1:] = self.inside + self.c.begin_unstruck
        front.begun[Kind.RIGHT, 1:] = 0.0
        front.cost += self.emission.of(0)

    def _cross(self, piece: int) -> None:
        """Go over the boundary at the start of a piece, then through the piece."""
        attack, change = self.bounds.attack[piece - 1], self.bounds.change[piece - 1]
        time, struck = float(self.edges[piece]), float(max(attack, change))
        self.old, self.new = self.new, _Front(self.n)
        emission = self.emission.of(piece)
        self.grown_now = self.grown[piece - 1]
        waived = self.c.masked * emission[Kind.RIGHT, 1:]
        self.waived = self.grown_now * np.minimum(waived, self.c.most_masked)
        toneless = 1.0 - min(self.emission.tone_share(piece) / 0.3, 1.0)
        self.waived -= self.c.begin_toneless * np.maximum(toneless - self.grown_now, 0.0)
        across = self.c.ignore_attack * max(2.0 * float(attack) - 1.0, 0.0) ** 2.5
        into_rest = across * self.emission.tone_share(piece)
        self._go_on(across, into_rest, time)
        self._stop(into_rest)
        for skipped in range(self.most_skipped):
            self._begin_next(skipped, float(attack), struck, time)
        self._begin_extra(struck)
        self._jump(struck, time)
        self.back[piece] = self.new.came
        self.new.cost += emission

    def _code(self, kind: int | Ints, positions: Codes) -> Codes:
        return (kind * (self.n + 1) + positions).astype(np.int32)

    def _go_on(self, across: float, into_rest: float, time: float) -> None:
        for kind in Kind:
            # Just after its own attack a note may have a second bump.
            age = np.nan_to_num(time - self.old.begun[kind], nan=1.0)
            settled = np.clip((age - 0.03) / self.c.attack_s, 0.15, 1.0)
            price = (into_rest if kind == Kind.REST else across) * settled
            if kind == Kind.RIGHT:
                price = price * self.calm
            if kind in (Kind.REST, Kind.EXTRA):
                price[0] = 0.0  # before the start anything may happen
            cost = self.old.cost[kind] + price
            self.new.offer(kind, 0, cost, self._code(kind, self.where), self.old.begun[kind])

    def _stop(self, into_rest: float) -> None:
        for kind in (Kind.RIGHT, Kind.WRONG, Kind.EXTRA):
            cost = self.old.cost[kind] + self.c.rest + into_rest
            self.new.offer(Kind.REST, 0, cost, self._code(kind, self.where), self.old.begun[kind])

    def _begin_next(self, skipped: int, attack: float, struck: float, time: float) -> None:
        """Begin the next note, or one a little further on, from any explanation before it."""
        count = self.n - skipped
        base = self.old.cost[:, :count] + self.skips[skipped] + self._timing(skipped, time)
        plain = base + self.c.begin_unstruck * (1.0 - struck)
        easier = np.maximum(struck, self.grown_now[skipped:])
        right = base + self.c.begin_unstruck * (1.0 - easier)
        again = base[Kind.RIGHT] + self.c.repeat_unstruck * (1.0 - attack)
        right[Kind.RIGHT] = np.where(self.same[skipped], again, right[Kind.RIGHT])
        right[Kind.EXTRA, 0] += self.c.out_of_lead_in
        self._offer_best(Kind.RIGHT, 1 + skipped, right - self.waived[skipped:], time)
        self._offer_best(Kind.WRONG, 1 + skipped, plain + self.c.wrong, time)

    def _offer_best(self, kind: Kind, first: int, costs: Floats, time: float) -> None:
        """Offer the cheapest of four explanations before, shape (4, states)."""
        before = np.argmin(costs, axis=0)
        where = self.where[: costs.shape[1]]
        came = self._code(before, where)
        self.new.offer(kind, first, costs[before, where], came, np.full(len(where), time))

    def _timing(self, skipped: int, time: float) -> Floats:
        """Cost of beginning at `time` the note that is `skipped` + 1 after each position."""
        count = self.n - skipped
        if self.period is None:
            return np.zeros((4, count))
        expected = (self.beats[1 + skipped :] - self.beats[:count]) * self.period(time)
        off = time - self.old.begun[:, :count] - expected
        scale = self.c.timing_s + self.c.timing_share * expected
        cost = np.minimum(0.5 * (off / scale) ** 2, self.c.timing_most)
        return np.asarray(np.nan_to_num(cost, nan=0.0), dtype=np.float64)

    def _begin_extra(self, struck: float) -> None:
        price = np.full(self.n + 1, self.c.extra + self.c.begin_unstruck * (1.0 - struck))
        price[0] = self.c.lead_in
        for kind in Kind:
            cost, code = self.old.cost[kind] + price, self._code(kind, self.where)
            self.new.offer(Kind.EXTRA, 0, cost, code, self.old.begun[kind])

    def _jump(self, struck: float, time: float) -> None:
        """Go on from any place: start in the middle, go back, or leave out many notes."""
        begun = np.full(self.n, time)
        unstruck = self.c.begin_unstruck * (1.0 - struck)
        for kind in Kind:
            place = int(np.argmin(self.old.cost[kind, 1:])) + 1
            price = self.c.jump if kind == Kind.REST else self.c.jump_sounding
            cost = float(self.old.cost[kind, place]) + price + unstruck - self.waived
            code = np.full(self.n, kind * (self.n + 1) + place, np.int32)
            self.new.offer(Kind.RIGHT, 1, cost, code, begun)
        for kind in (Kind.REST, Kind.EXTRA):
            cost = self.old.cost[kind, 0] + self.inside + unstruck - self.waived
            if kind == Kind.EXTRA:
                cost = cost + self.c.out_of_lead_in
            code = np.full(self.n, kind * (self.n + 1), np.int32)
            self.new.offer(Kind.RIGHT, 1, cost, code, begun)

    def _trace(self) -> Path:
        left = self.left_out[-1] - self.left_out
        total = self.new.cost + np.minimum(left, self.c.stop_inside)
        at = int(np.argmin(total))
        cost = float(total.flat[at])
        states = [at]
        for piece in range(len(self.edges) - 2, 0, -1):
            at = int(self.back[piece].flat[at])
            states.append(at)
        return Path(tuple(_joined(states[::-1], self.edges, self.n)), cost)


def _joined(states: list[int], edges: Floats, n: int) -> list[Segment]:
    """Join neighbouring pieces of one explanation."""
    pieces: list[Segment] = []
    before = 0
    for k, state in enumerate(states):
        kind, position = divmod(state, n + 1)
        stop = float(edges[k + 1])
        if k and states[k - 1] == state:
            pieces[-1] = replace(pieces[-1], stop_s=stop)
            continue
        jumped = kind == Kind.RIGHT and position <= before
        pieces.append(Segment(Kind(kind), position - 1, float(edges[k]), stop, k - 1, jumped))
        before = position
    return pieces


class _Emission:
    """Cost of each explanation of each piece from the pitch frames inside it."""

    def __init__(
        self, hearing: AudioFeatures, edges: Floats, pitches: Ints, tuning: float,
        ornamented: Flags, costs: Costs,
    ) -> None:  # fmt: skip
        unique, self._which = np.unique(pitches, return_inverse=True)
        own = unique.astype(np.float64) + tuning
        right = _frame_costs(hearing, own, 0.0, costs)
        # the turns of an ornament are short; a longer tone beside its note is another
        self._turns = np.flatnonzero(ornamented)
        self._short = [b - a <= TURN_S for a, b in pairwise(edges)]
        if len(self._turns):
            right = np.column_stack([right, _frame_costs(hearing, own, WIDE, costs)])
        self._beside = self._which[self._turns] + len(unique)
        voiced = hearing.voiced.astype(float)
        unknown = np.where(hearing.voiced, costs.frame_unknown, 2.0 * costs.frame_silent)
        rest = costs.frame_rest_voiced * voiced
        table = np.column_stack([right, unknown, rest])
        self._sums = np.vstack([np.zeros(table.shape[1]), np.cumsum(table, axis=0)])
        self._spans = [_frames_between(a, b, len(voiced)) for a, b in pairwise(edges)]
        self._n, self._costs = len(pitches), costs

    def tone_share(self, piece: int) -> float:
        """Share of a piece's frames in which a tone sounds."""
        start, stop = self._spans[piece]
        rest = self._sums[stop, -1] - self._sums[start, -1]
        return float(rest / (self._costs.frame_rest_voiced * max(stop - start, 1)))

    def of(self, piece: int) -> Floats:
        """Costs, shape (4, n + 1), of one piece."""
        start, stop = self._spans[piece]
        count = max(stop - start, 1)
        weight = (min(count, FULL_FRAMES) + FURTHER * max(count - FULL_FRAMES, 0)) / count
        row = (self._sums[stop] - self._sums[start]) * weight
        out = np.empty((4, self._n + 1))
        out[Kind.RIGHT, 0] = out[Kind.WRONG, 0] = np.inf
        out[Kind.RIGHT, 1:] = row[self._which]
        if self._short[piece]:
            out[Kind.RIGHT, 1 + self._turns] = row[self._beside]
        out[Kind.WRONG, 1:] = out[Kind.EXTRA] = row[-2]
        out[Kind.REST] = row[-1]
        return out


def _frames_between(start_s: float, stop_s: float, count: int) -> tuple[int, int]:
    """Frames well inside a piece; those on its edges hear both neighbours."""
    first, last = start_s / PITCH_STEP_S, stop_s / PITCH_STEP_S
    start, stop = int(np.ceil(first + 1.0)), int(np.floor(last - 0.5)) + 1
    if stop - start < 2:
        start, stop = int(np.floor(first)) + 1, int(np.ceil(last))
    start = min(max(start, 0), count)
    return start, min(max(stop, start), count)


def _frame_costs(hearing: AudioFeatures, pitches: Floats, wide: float, costs: Costs) -> Floats:
    """Cost of each pitch frame under each expected pitch, shape (frames, pitches).

    wide : semitones around it that are its own too
    """
    off = hearing.pitch[:, None] - pitches[None, :]
    off = np.sign(off) * np.maximum(np.abs(off) - wide, 0.0)
    cost = np.clip((np.abs(off) - NEAR) / (FAR - NEAR), 0.0, 1.0)
    for octave in OCTAVES:
        astray = np.abs(off - octave) < NEAR
        cost = np.where(astray, np.minimum(cost, costs.frame_octave), cost)
    return np.where(hearing.voiced[:, None], cost, costs.frame_silent)
