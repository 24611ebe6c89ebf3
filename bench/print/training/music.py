"""Random music on one staff: what the network is trained on and the readers are measured on.

`piece` invents bars; `symbols_of` says what a reader must see; `bars_of` what must come out.
Writers to engravers' languages stand in `engravers.py`.
"""

from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise

import numpy as np

STEPS = "CDEFGAB"
CHROMA = (0, 2, 4, 5, 7, 9, 11)
# diatonic number (octave * 7 + step) of the bottom line
BOTTOM = {"G": 4 * 7 + 2, "G8": 3 * 7 + 2, "F": 2 * 7 + 4, "C3": 3 * 7 + 3, "C4": 3 * 7 + 1}
SHARPS = (3, 0, 4, 1, 5, 2, 6)
METRES = {
    "C": Fraction(4), "cut": Fraction(4), "2/4": Fraction(2), "3/4": Fraction(3),
    "4/4": Fraction(4), "5/4": Fraction(5), "6/4": Fraction(6), "2/2": Fraction(4),
    "3/2": Fraction(6), "4/2": Fraction(8), "3/8": Fraction(3, 2), "5/8": Fraction(5, 2),
    "6/8": Fraction(3), "7/8": Fraction(7, 2), "9/8": Fraction(9, 2), "12/8": Fraction(6),
}  # fmt: skip
_LINES = ("bar", "bar.double", "bar.final", "repeat.start", "repeat.end", "repeat.both")
COMMON = ("4/4", "3/4", "2/4", "6/8", "C", "cut", "3/8", "9/8", "12/8", "2/2", "5/4", "3/2")


@dataclass
class Event:
    """A note or rest; position None for a rest; length a part of a whole note."""

    length: int
    dots: int = 0
    position: int | None = None
    accidental: str = ""
    tie: bool = False
    triplet: int = 0  # 1 first of a group, 2 inside, 3 last
    grace: bool = False
    under: int = 0  # steps to a second head below; 0: none
    clef: str = ""  # a new clef before it
    pitch: int | None = None
    artic: str = ""
    whole_bar: bool = False
    alter: int = 0
    clef_before_bar: bool = False

    @property
    def beats(self) -> Fraction:
        b = Fraction(4, self.length)
        b += b / 2 if self.dots == 1 else b * 3 / 4 if self.dots == 2 else 0
        return b * 2 / 3 if self.triplet else b


@dataclass
class Bar:
    events: list[Event]
    metre: str
    fifths: int
    clef: str  # at its start
    new_metre: bool = False
    new_key: bool = False
    start: str = ""  # repeat.start
    end: str = "bar"
    ending: str = ""
    rests: int = 0  # bars of rest in one sign
    beats: Fraction = Fraction(0)


@dataclass
class Piece:
    bars: list[Bar]
    clef: str
    fifths: int
    metre: str
    show_metre: bool = True
    extras: dict = field(default_factory=dict)


def key_alter(fifths: int, step: int) -> int:
    if fifths > 0:
        return 1 if step in SHARPS[:fifths] else 0
    return -1 if step in SHARPS[::-1][: -fifths or None][: abs(fifths)] and fifths < 0 else 0


def _rhythm(rng: np.random.Generator, beats: Fraction, fine: float) -> list[Event]:
    """Lengths that fill so many quarters."""
    out: list[Event] = []
    left = beats
    while left > 0:
        at = beats - left
        choices: list[tuple[float, list[tuple[int, int, int]]]] = []

        def add(weight: float, *parts: tuple[int, int, int]) -> None:
            total = sum((Event(n, d, triplet=t).beats for n, d, t in parts), Fraction(0))
            if total <= left:  # noqa: B023
                choices.append((weight, list(parts)))  # noqa: B023

        q = at.denominator == 1
        add(1.0, (4, 0, 0))
        add(0.35, (2, 0, 0))
        add(0.12, (2, 1, 0))
        add(0.02, (2, 2, 0))
        if left == beats:
            add(0.15 if left >= 4 else 0, (1, 0, 0))
            add(0.03 if left >= 6 else 0, (1, 1, 0))
        add(0.35, (4, 1, 0), (8, 0, 0))
        add(0.3 if not q or beats.denominator > 1 or beats == 3 else 0.05, (4, 1, 0))
        add(0.05, (4, 2, 0), (16, 0, 0))
        add(1.0, (8, 0, 0), (8, 0, 0))
        add(0.6 if not q or left < 1 else 0.1, (8, 0, 0))
        add(0.35, (8, 0, 0), (4, 0, 0), (8, 0, 0))
        if beats.denominator > 1 or beats in (3, 6):
            add(0.7, (8, 0, 0), (8, 0, 0), (8, 0, 0))
            add(0.5, (4, 0, 0), (8, 0, 0))
            add(0.15, (8, 1, 0), (16, 0, 0), (8, 0, 0))
        f = fine
        add(0.35 * f, (8, 1, 0), (16, 0, 0))
        add(0.6 * f, *((16, 0, 0),) * 4)
        add(0.3 * f, (8, 0, 0), (16, 0, 0), (16, 0, 0))
        add(0.3 * f, (16, 0, 0), (16, 0, 0), (8, 0, 0))
        add(0.12 * f, (16, 0, 0), (8, 0, 0), (16, 0, 0))
        add(0.08 * f, (16, 0, 0), (8, 1, 0))
        add(0.15 * f if left < Fraction(1, 2) or not q else 0, (16, 0, 0), (16, 0, 0))
        add(0.10 * f, *((32, 0, 0),) * 4)
        add(0.06 * f, *((32, 0, 0),) * 8)
        add(0.08 * f, (16, 0, 0), (32, 0, 0), (32, 0, 0))
        add(0.06 * f, (16, 1, 0), (32, 0, 0))
        add(0.04 * f, (8, 2, 0), (32, 0, 0))
        if q:
            add(0.22, (8, 0, 1), (8, 0, 2), (8, 0, 3))
            add(0.03, (4, 0, 1), (8, 0, 3))
            add(0.03, (8, 0, 1), (4, 0, 3))
            add(0.04, (4, 0, 1), (4, 0, 2), (4, 0, 3))
        add(0.05 * f, (16, 0, 1), (16, 0, 2), (16, 0, 3))
        if left < Fraction(1, 2):
            add(0.01, (16, 0, 0))
        if left < Fraction(1, 4):
            add(0.01, (32, 0, 0))
        if not choices:
            add(1, (32, 0, 0))
        weights = np.array([w for w, _ in choices])
        if weights.sum() <= 0:
            weights = np.ones(len(choices))
        pick = choices[rng.choice(len(choices), p=weights / weights.sum())][1]
        out += [Event(n, d, triplet=t) for n, d, t in pick]
        left -= sum((e.beats for e in out[-len(pick) :]), Fraction(0))
    return out


def piece(
    rng: np.random.Generator,
    bars: int,
    *,
    plain: bool = False,
    long_rests: float = 0.035,
    first_repeat: float = 0.0,
) -> Piece:
    """So many bars at random.

    plain : without what stands only in some music; long_rests : share of bars that are a rest of
    several; first_repeat : share of pieces that begin with a repeat sign. The defaults are those of
    the pages that are measured.
    """
    clef = str(rng.choice(["G", "F", "C3", "C4", "G8"], p=[0.55, 0.22, 0.09, 0.06, 0.08]))
    fifths = int(np.clip(np.round(rng.normal(0, 2.6)), -7, 7))
    metre = (
        str(rng.choice(list(METRES)))
        if rng.random() < 0.22
        else str(
            rng.choice(
                COMMON, p=[0.3, 0.2, 0.12, 0.12, 0.08, 0.04, 0.03, 0.03, 0.03, 0.02, 0.02, 0.01]
            )
        )
    )
    low, high = int(rng.integers(-6, 3)), int(rng.integers(5, 13))
    if rng.random() < 0.15:
        low, high = -9, 3
    if rng.random() < 0.15:
        low, high = 5, 17
    accidentals = float(rng.choice([0.02, 0.08, 0.2], p=[0.4, 0.4, 0.2]))
    fine = float(rng.choice([0.0, 0.5, 1.5], p=[0.25, 0.45, 0.3]))
    rests = float(rng.choice([0.03, 0.1, 0.2]))
    chords = float(rng.choice([0.0, 0.1], p=[0.93, 0.07]))
    graces = float(rng.choice([0.0, 0.06], p=[0.7, 0.3]))
    here, out = int(rng.integers(0, 9)), []
    clef_now, fifths_now, metre_now = clef, fifths, metre
    state: dict[int, int] = {}
    tied: Event | None = None
    open_repeat = False
    for n in range(bars):
        bar = Bar([], metre_now, fifths_now, clef_now)
        if n and rng.random() < 0.05 and not plain:
            metre_now = str(rng.choice(COMMON))
            bar.new_metre = metre_now != bar.metre
        if n and rng.random() < 0.04:
            fifths_now = int(np.clip(np.round(rng.normal(0, 2.6)), -7, 7))
            bar.new_key = fifths_now != bar.fifths
        bar.metre, bar.fifths = metre_now, fifths_now
        bar.beats = METRES[metre_now]
        state = {}
        if rng.random() < long_rests and tied is None:
            bar.rests = int(
                rng.choice([2, 2, 3, 3, 4, 4, 5, 6, 7, 8, 9, 10, 11, 12, 15, 16, 20, 24, 32, 48])
            )
        elif rng.random() < 0.04 and tied is None:
            bar.events = [Event(1, whole_bar=True)]
        else:
            pickup = n == 0 and rng.random() < 0.12
            beats = Fraction(int(rng.integers(1, 3)), 2) if pickup else bar.beats
            bar.beats = beats
            bar.events = _rhythm(rng, beats, fine)
            wide = rng.random() < 0.2
            for i, event in enumerate(bar.events):
                may = event.triplet == 0 or rng.random() < 0.3
                if may and rng.random() < rests and tied is None:
                    continue
                if tied is not None and tied.position is not None:
                    event.position = tied.position
                else:
                    leap = rng.normal(0, 4.5 if wide else 2.0)
                    here = int(np.clip(here + np.round(leap), low, high))
                    if rng.random() < 0.1:
                        here = int(np.clip(here, low, high))
                    event.position = here
                if (
                    n and rng.random() < 0.012 and not plain and tied is None
                    and event.triplet in (0, 1)
                    and not (i == 0 and (out[-1].rests or out[-1].events[0].whole_bar))
                ):  # fmt: skip
                    new = str(rng.choice(["G", "F", "C3", "C4"]))
                    if new != clef_now and clef_now != "G8":
                        event.clef = clef_now = new
                        event.clef_before_bar = i == 0
                        state = {}
                diatonic = BOTTOM[clef_now] + event.position
                step = diatonic % 7
                now = state.get(diatonic, key_alter(fifths_now, step))
                wanted = now
                if tied is not None:
                    wanted = tied.alter
                elif rng.random() < accidentals:
                    p = [0.05, 0.3, 0.3, 0.3, 0.05]
                    wanted = int(rng.choice([-2, -1, 0, 1, 2], p=p))
                event.alter = wanted
                if tied is None:
                    courtesy = rng.random() < 0.004
                    if wanted != now or courtesy:
                        event.accidental = {-2: "ff", -1: "f", 0: "n", 1: "s", 2: "x"}[wanted]
                        state[diatonic] = wanted
                event.pitch = 12 * (diatonic // 7 + 1) + CHROMA[step] + wanted
                was_tied, tied = tied is not None, None
                last = i == len(bar.events) - 1
                if rng.random() < (0.08 if last else 0.03) and not (last and n == bars - 1):
                    event.tie, tied = True, event
                if rng.random() < chords and not event.tie and not was_tied:
                    event.under = int(rng.choice([2, 3, 5, 7]))
                if rng.random() < 0.08:
                    event.artic = str(rng.choice(["stacc", "acc", "ten", "marc"]))
            bar.events = _with_graces(
                rng, bar.events, graces, low, high, clef_now, fifths_now, state
            )
        closes = False
        if rng.random() < (0.05 if n else first_repeat) and tied is None:
            bar.start, open_repeat = "repeat.start", True
        if (rng.random() < 0.05 or (open_repeat and rng.random() < 0.2)) and tied is None:
            bar.end, closes, open_repeat = "repeat.end", True, False
            if n and rng.random() < 0.35:
                bar.ending = "1"
        elif n == bars - 1 and rng.random() < 0.4:
            bar.end = "bar.final"
        elif rng.random() < 0.05:
            bar.end = "bar.double"
        if out and out[-1].ending == "1" and not closes:
            bar.ending = "2"
        if out and out[-1].ending == "2" and bar.ending == "1":
            bar.ending = ""
        out.append(bar)
    if tied is not None:
        tied.tie = False
    _untie(out)
    for before, after in pairwise(out):
        if after.start and before.end not in ("bar", "repeat.end"):
            after.start = ""
    return Piece(out, clef, fifths, metre)


def _untie(bars: list[Bar]) -> None:
    """A tie needs a note of its pitch after it."""
    flat: list[Event] = []
    for bar in bars:
        flat += bar.events or [Event(1)]
    for event, following in zip(flat, [*flat[1:], Event(1)], strict=True):
        if event.tie and (following.pitch != event.pitch or following.grace or event.grace):
            event.tie = False


def _with_graces(rng, events, share, low, high, clef, fifths, state):
    if not share:
        return events
    out = []
    before = None
    for event in events:
        if (
            event.position is not None and rng.random() < share and not event.clef
            and event.triplet in (0, 1) and not (before is not None and before.tie)
        ):  # fmt: skip
            position = int(np.clip(event.position + rng.choice([-2, -1, 1, 2]), low, high))
            diatonic = BOTTOM[clef] + position
            # only where no accidental of this bar can be meant
            if (
                position != event.position
                and diatonic not in state
                and not any(e.clef for e in events)
            ):
                alter = key_alter(fifths, diatonic % 7)
                pitch = 12 * (diatonic // 7 + 1) + CHROMA[diatonic % 7] + alter
                out.append(Event(8, position=position, grace=True, pitch=pitch, alter=alter))
        out.append(event)
        before = event
    return out


def symbols_of(p: Piece) -> list[str]:
    """What a reader must see on one staff."""
    out = [f"clef.{p.clef}"]
    if p.fifths:
        out.append(f"key.{p.fifths}")
    if p.show_metre:
        out.append(f"time.{p.metre}")
    for n, bar in enumerate(p.bars):
        before = p.bars[n - 1] if n else None
        if bar.start:
            if before is None:
                out.append("repeat.start")
            elif before.end == "repeat.end":
                out[-1] = "repeat.both"
            else:
                out[-1] = "repeat.start"
        if bar.new_key:
            out.append(f"key.{bar.fifths}")
        if bar.new_metre:
            out.append(f"time.{bar.metre}")
        if bar.ending:
            out.append(f"ending.{bar.ending}")
        if bar.rests:
            out += ["rests", *(f"digit.{d}" for d in str(bar.rests))]
        for e in bar.events:
            if e.clef and e.clef_before_bar:
                at = max(i for i, s in enumerate(out) if s in _LINES)
                out.insert(at, f"clef.{e.clef}")
            elif e.clef:
                out.append(f"clef.{e.clef}")
            if e.position is None:
                out.append(f"rest.{e.length}")
            else:
                if e.accidental:
                    out.append(f"accidental.{e.accidental}")
                out.append(f"grace.{e.position}" if e.grace else f"note.{e.length}.{e.position}")
            out += ["dot"] * e.dots
            if e.triplet:
                out.append("triplet")
            if e.under:
                out.append("chord")
            if e.tie:
                out.append("tie")
        out.append(bar.end)
    return out


def bars_of(p: Piece) -> list[list[tuple[int | None, float, bool, bool]]]:
    """What must come out: (pitch, quarters, tie, grace) of each bar; a long rest as its bars."""
    out = []
    for bar in p.bars:
        whole = float(METRES[bar.metre])
        if bar.rests:
            out += [[(None, whole, False, False)]] * bar.rests
        elif bar.events and bar.events[0].whole_bar:
            out.append([(None, whole, False, False)])
        else:
            out.append([
                (e.pitch, 0.0 if e.grace else float(e.beats), e.tie, e.grace) for e in bar.events
            ])  # fmt: skip
    return out


def without_chords(p: Piece) -> Piece:
    return replace(
        p, bars=[replace(b, events=[replace(e, under=0) for e in b.events]) for b in p.bars]
    )
