"""What was improvised, drawn chord by chord: bars in rows as on a chart, each with its figures."""

from collections.abc import Sequence
from dataclasses import dataclass

from coldtake.domain.take import ChordHeard, Verdict
from coldtake.music.theory.chord_names import printed

BAR, ROW, MARGIN = 245.0, 112.0, 10.0
INNER, TOP = 16.0, 12.0  # from a bar's left line to its first chord; from a row's top to its bars
BASE, LINE, FOOT = 40.0, 62.0, 84.0  # chord, meter and figure, from the top of a bar
HIGH = 92.0
SIZE, NARROW = 30.0, 0.62  # of chord symbols; width of a sign, of its size
LEAD_S = 0.15  # playing from a chord begins this much before it
WIDE, ON_PHONE = 4, 2  # bars in a row


@dataclass(frozen=True, slots=True)
class ChordCell:
    """One chord in its bar. x, y, wide : of its meter; solid, dashed : ends of its two parts.

    Solid is what sounded inside the scale, dashed what sounded outside; the rest was silent.
    """

    chord: ChordHeard
    symbol: str
    x: float
    y: float
    wide: float
    size: float
    solid: float
    dashed: float
    words: str
    seek_s: float

    @property
    def percent(self) -> str:
        """The share in the scale, empty where nothing was told."""
        share = self.chord.in_scale
        return "" if share is None else f"{100 * share:.0f}%"


@dataclass(frozen=True, slots=True)
class ChordChart:
    """A drawing: cells, bar lines as (x, y, end), names of choruses as (words, y), its size."""

    cells: tuple[ChordCell, ...]
    lines: tuple[tuple[float, float, bool], ...]
    names: tuple[tuple[str, float], ...]
    width: float
    height: float


def words_of(chord: ChordHeard) -> str:
    """One chord's figures in a sentence."""
    said = [f"Bar {chord.bar_index + 1}, {printed(chord.symbol)}"]
    if chord.in_scale is None:
        said.append("silent" if chord.sounded < 0.01 else "cannot tell")
    else:
        said.append(f"{100 * chord.in_scale:.0f}% in {printed(chord.scale)}")
    if chord.on_strong:
        said.append(f"{chord.chord_tones} of {chord.on_strong} chord tones on strong beats")
    if chord.arrived is not None:
        said.append(f"third or seventh {'played' if chord.arrived else 'not played'} at the change")
    return ": ".join([said[0], ", ".join(said[1:])])


def drawn(verdict: Verdict, across: int) -> ChordChart:
    """Lay all chords out, so many bars in a row; every chorus begins a row."""
    cells: list[ChordCell] = []
    lines: list[tuple[float, float, bool]] = []
    names: list[tuple[str, float]] = []
    choruses = sorted({c.chorus for c in verdict.chords})
    top = MARGIN
    for chorus in choruses:
        if len(choruses) > 1:
            names.append((f"Chorus {chorus + 1}", top + 18.0))
            top += 26.0
        bars = _bars([c for c in verdict.chords if c.chorus == chorus])
        for start in range(0, len(bars), across):
            row = bars[start : start + across]
            for place, bar in enumerate(row):
                left = MARGIN + place * BAR
                cells += _cells(bar, left, top + TOP)
                lines.append((left, top + TOP, False))
            ends = start + across >= len(bars) and chorus == choruses[-1]
            lines.append((MARGIN + len(row) * BAR, top + TOP, ends))
            top += ROW
    return ChordChart(
        tuple(cells), tuple(lines), tuple(names), across * BAR + 2 * MARGIN, top + MARGIN
    )


def _bars(chords: Sequence[ChordHeard]) -> list[list[ChordHeard]]:
    found: dict[int, list[ChordHeard]] = {}
    for chord in chords:
        found.setdefault(chord.bar_index, []).append(chord)
    return [found[k] for k in sorted(found)]


def _cells(bar: Sequence[ChordHeard], left: float, top: float) -> list[ChordCell]:
    length = sum(c.beats for c in bar)
    cells, x = [], left + INNER
    for chord in bar:
        wide = (BAR - 2 * INNER) * chord.beats / length
        symbol = printed(chord.symbol)
        size = min(SIZE, (wide - 4.0) / (NARROW * max(len(symbol), 1)))
        meter = wide - 8.0
        sounded = min(chord.sounded, 1.0)
        solid = meter * sounded * (1.0 if chord.in_scale is None else chord.in_scale)
        cells.append(ChordCell(
            chord, symbol, round(x, 1), top, round(meter, 1), round(size, 1),
            round(x + solid, 1), round(x + meter * sounded, 1), words_of(chord),
            max(chord.from_s - LEAD_S, 0.0),
        ))  # fmt: skip
        x += wide
    return cells
