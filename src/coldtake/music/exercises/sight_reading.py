"""Fresh passages to read at sight, as hard as asked for, the same again from the same seed.

A line of scale steps and leaps over rhythm cells, ending on the tonic; how many short notes, leaps
and accidentals, and how wide a range, follow from one dial. The dial is turned until the measured
hardness (`hardness`, the mean of the bars) lies within BAND of what was asked. The cells and what
the dial does are guesses, no source.
"""

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from coldtake.errors import PassageError
from coldtake.music.abc.notating import Page, Written, abc_text
from coldtake.music.exercises.hardness import hardness
from coldtake.music.notation.reading.reader import read_passage
from coldtake.music.theory.instruments import instrument_named
from coldtake.music.theory.keys import C_MAJOR, Key
from coldtake.music.theory.scales import ladder
from coldtake.music.theory.tones import Pitch, ToneInterval

BAND = 0.03  # the measured hardness lies within this of the asked one
_TRIES = 40
_CLOSE = 0.012  # near enough to stop looking
LEVELS = tuple(round(0.1 + 0.045 * level, 3) for level in range(10))  # levels 1 to 10
_MODE_SCALE = {"major": "major", "minor": "natural minor"}
# Cells of one beat (a quarter; a dotted quarter in compound metres) and of two, in quarters, each
# with the place on the dial from which it comes in; "t" marks a triplet.
_SIMPLE = (
    (0.0, "1"), (0.0, "2"), (0.12, "1/2 1/2"), (0.3, "3/2 1/2"), (0.4, "3/4 1/4"),
    (0.45, "1/2 1/4 1/4"), (0.5, "1/4 1/4 1/2"), (0.5, "1/2 1 1/2"), (0.55, "t1/2 1/2 1/2"),
    (0.6, "1/4 1/4 1/4 1/4"), (0.7, "1/4 1/2 1/4"), (0.85, "1/4 1/4 1/4 1/4"),
)  # fmt: skip
_COMPOUND = (
    (0.0, "3/2"), (0.0, "3"), (0.1, "1 1/2"), (0.25, "1/2 1/2 1/2"), (0.4, "1/2 1"),
    (0.5, "3/4 1/4 1/2"), (0.6, "1/2 1/4 1/4 1/2"), (0.7, "1/4 1/4 1/4 1/4 1/4 1/4"),
)  # fmt: skip
Cell = tuple[tuple[Fraction, ...], int]


@dataclass(frozen=True, slots=True)
class Demand:
    """What is asked for.

    hardness : 0 to 1, at bpm quarters a minute; key and range as written for the instrument
    seed : the same one gives the same passage
    """

    hardness: float
    seed: int
    bpm: float = 72.0
    key: Key = C_MAJOR
    metre: tuple[int, int] = (4, 4)
    bars: int = 8
    instrument: str = "flute"


@dataclass(frozen=True, slots=True)
class Fresh:
    """A passage as ABC with its measured hardness."""

    abc: str
    hardness: float


def fresh(demand: Demand) -> Fresh:
    """Make a passage. Raises PassageError where no passage is so easy or so hard."""
    best, dial, step = Fresh("", -1.0), 0.5, 0.25
    for attempt in range(_TRIES):
        made = _measured(demand, dial, attempt)
        if abs(made.hardness - demand.hardness) < abs(best.hardness - demand.hardness):
            best = made
        if abs(best.hardness - demand.hardness) <= _CLOSE:
            break
        up = made.hardness < demand.hardness
        dial = min(max(dial + (step if up else -step), 0.0), 1.0)
        step = max(step * 0.7, 0.02)
    if abs(best.hardness - demand.hardness) > BAND:
        raise _unreachable(best.hardness, demand)
    return best


def _unreachable(best: float, demand: Demand) -> PassageError:
    easier = best > demand.hardness
    return PassageError(
        f"Nothing so {'easy' if easier else 'hard'} can be written at this tempo.",
        remedy=f"Ask for something {'harder' if easier else 'easier'}, or for a "
        f"{'slower' if easier else 'faster'} tempo.",
    )


def _measured(demand: Demand, dial: float, attempt: int) -> Fresh:
    rng = random.Random(f"{demand.seed}/{attempt}")
    instrument = instrument_named(demand.instrument)
    page = _page(demand)
    notes = _line(demand, page, dial, rng, instrument.low, instrument.high)
    abc = abc_text(page, notes)
    bars = hardness(read_passage.__wrapped__(abc, "abc"), demand.bpm)
    return Fresh(abc, sum(bar.value for bar in bars) / len(bars))


def _page(demand: Demand) -> Page:
    instrument = instrument_named(demand.instrument)
    return Page(
        f"Reading {demand.seed}",
        demand.key,
        demand.metre,
        demand.bpm,
        Fraction(3, 2) if demand.metre[1] == 8 else Fraction(1),
        instrument.clefs,
        instrument.sounds,
    )


def _rhythm(page: Page, bars: int, dial: float, rng: random.Random) -> list[list[Cell]]:
    """Cells bar by bar; the last bar is one long note."""
    table = _COMPOUND if page.metre[1] == 8 else _SIMPLE
    known = [(least, _cell(words)) for least, words in table if least <= dial]
    found: list[list[Cell]] = []
    for _ in range(bars - 1):
        left, own = page.bar, list[Cell]()
        while left > 0:
            fits = [(least, cell) for least, cell in known if _length(cell) <= left]
            if not fits:
                own.append(((left,), 0))
                break
            weights = [1.0 + 4.0 * least * dial for least, _ in fits]
            own.append(rng.choices([cell for _, cell in fits], weights)[0])
            left -= _length(own[-1])
        found.append(own)
    return [*found, [((page.bar,), 0)]]


def _cell(words: str) -> Cell:
    tuplet = 3 if words.startswith("t") else 0
    return tuple(Fraction(w) for w in words.removeprefix("t").split()), tuplet


def _length(cell: Cell) -> Fraction:
    return sum(cell[0], Fraction(0)) * (Fraction(2, 3) if cell[1] else 1)


def _line(
    demand: Demand, page: Page, dial: float, rng: random.Random, low: int, high: int
) -> list[Written]:
    """Pitches for the rhythm: a walk over the scale that comes home."""
    rungs = _compass(page.key, dial, rng, low, high)
    home = min(
        range(len(rungs)), key=lambda i: (rungs[i].tone != page.key.tonic, abs(i - len(rungs) // 2))
    )
    at, notes = home, list[Written]()
    cells = _rhythm(page, demand.bars, dial, rng)
    for bar in cells[:-1]:
        for values, tuplet in bar:
            for value in values:
                at = _step(at, len(rungs), dial, rng)
                notes.append(Written(rungs[at], value, tuplet))
    notes.append(Written(rungs[home], page.bar))
    return _coloured(notes, page.key, dial, rng, low, high)


def _compass(key: Key, dial: float, rng: random.Random, low: int, high: int) -> Sequence[Pitch]:
    """Rungs of the key in a stretch of the instrument's range."""
    wide = round(12 + 12 * dial)  # an octave holds a tonic to come home to
    start = low + rng.randint(0, max(high - low - wide, 0)) // 2
    rungs = ladder(key.tonic, _MODE_SCALE.get(key.mode, key.mode), start, min(start + wide, high))
    if len(rungs) < 4:
        raise PassageError("The range is too small for a passage.", remedy="Widen the range.")
    return rungs


def _step(at: int, size: int, dial: float, rng: random.Random) -> int:
    """The next rung: mostly a neighbour, sometimes a leap, back from the edges."""
    leap = rng.random() < 0.08 + 0.5 * dial
    far = (
        rng.randint(2, 2 + round(5 * dial))
        if leap
        else rng.choice((1, 1, 1, 0 if dial < 0.3 else 1))
    )
    up = rng.random() < 0.5 + (0.5 - at / max(size - 1, 1)) * 0.6
    to = at + (far if up else -far)
    return to if 0 <= to < size else min(max(at - (to - at), 0), size - 1)


def _coloured(
    notes: list[Written], key: Key, dial: float, rng: random.Random, low: int, high: int
) -> list[Written]:
    """Some notes become chromatic neighbours of the note after them."""
    share = max(0.0, 0.5 * (dial - 0.35))
    found = list(notes)
    for i in range(len(notes) - 1):
        after, own = notes[i + 1].pitch, notes[i].pitch
        twice = i > 0 and found[i - 1] is not notes[i - 1]
        if own is None or after is None or twice or rng.random() >= share:
            continue
        way = ToneInterval(-1, -1) if own.midi <= after.midi else ToneInterval(1, 1)
        other = after.above(way)
        if abs(other.tone.alter) <= 1 and low <= other.midi <= high and other.tone not in key.tones:
            found[i] = replace(notes[i], pitch=other)
    return found
