"""A chart as one inline SVG: four bars in a row (two on a phone), chords large, nothing else.

Only presentation attributes, so that a strict content policy allows it; colours are the page's own
(`currentColor`). A row also ends before a repeat begins and after a double bar. Every bar says its
chords as its title.
"""

import xml.etree.ElementTree as ET
from collections.abc import Sequence

from coldtake.music.notation.engraving.marks import SVG
from coldtake.music.notation.reading.charts import Beat, Chart, ChartBar
from coldtake.music.theory.chords import Chord
from coldtake.music.theory.tones import Tone

BARS_IN_ROW = 4
_BAR, _HIGH, _MARGIN = 245.0, 48.0, 10.0  # a bar is wide and high, a page has a margin
_ABOVE, _BELOW, _SIGNS_ABOVE = 6.0, 12.0, 26.0  # room of a row, more where signs stand
_BASE, _ROOT, _SUFFIX, _SIGN = 38.0, 40.0, 25.0, 16.0  # baseline in the bar, sizes of type
# An image by itself has no style sheet of the page: these are looked for on the device.
_FONTS = "Atkinson Hyperlegible Next, Helvetica Neue, Arial, Liberation Sans, sans-serif"

_RAISED = 11.0  # how far a suffix stands above the line
_NARROW = 0.62  # width of a sign in the voice of the page, of its size
_STARTS = {"segno": "Segno", "coda": "Coda"}
_ENDS = {"tocoda": "To Coda", "fine": "Fine", "dacapo": "D.C.", "dalsegno": "D.S."}
_ACCIDENTALS = {1: "♯", -1: "♭", 2: "♯♯", -2: "♭♭"}
Element = ET.Element


def rows(chart: Chart, across: int = BARS_IN_ROW) -> list[list[ChartBar]]:
    """The bars row by row, at most `across` in each."""
    found: list[list[ChartBar]] = [[]]
    for bar in chart.bars:
        full = len(found[-1]) == across
        if found[-1] and (full or bar.opens_repeat or found[-1][-1].double):
            found.append([])
        found[-1].append(bar)
    return found


def chart_svg(chart: Chart, across: int = BARS_IN_ROW) -> str:
    """The whole chart as one `<svg>`."""
    return _svg(chart, rows(chart, across), across, last=True)


def chart_lines(chart: Chart, across: int = BARS_IN_ROW) -> tuple[str, ...]:
    """Every row as an `<svg>` of its own, for pages of paper."""
    lines = rows(chart, across)
    return tuple(
        _svg(chart, [row], across, last=number == len(lines) - 1)
        for number, row in enumerate(lines)
    )


def _svg(chart: Chart, lines: Sequence[Sequence[ChartBar]], across: int, *, last: bool) -> str:
    width = across * _BAR + 2 * _MARGIN
    height = sum(_above(row) + _HIGH + _BELOW for row in lines) + 2 * _MARGIN
    root = ET.Element(
        "svg",
        {
            "xmlns": SVG,
            "width": f"{width:.0f}",
            "height": f"{height:.0f}",
            "viewBox": f"0 0 {width:.0f} {height:.0f}",
            "class": "chart",
            "role": "img",
            "aria-label": words(chart),
            "fill": "currentColor",
            "stroke": "none",
            "font-family": _FONTS,
            "font-weight": "500",
        },
    )
    top = _MARGIN
    for number, row in enumerate(lines):
        top += _above(row)
        _row(root, chart, row, top, last=last and number == len(lines) - 1)
        top += _HIGH + _BELOW
    return ET.tostring(root, encoding="unicode")


def _above(row: Sequence[ChartBar]) -> float:
    """Room above a row's bars."""
    return _SIGNS_ABOVE if any(bar.ending or bar.marks for bar in row) else _ABOVE


def words(chart: Chart) -> str:
    """The chart said in words, for those who do not see it."""
    said = "; ".join(_bar_words(bar) for bar in chart.bars)
    return f"{chart.title or 'Changes'}: {len(chart.bars)} bars. {said}"


def _bar_words(bar: ChartBar) -> str:
    parts = [_STARTS[m] for m in _STARTS if m in bar.marks]
    parts += ["repeat from here"] if bar.opens_repeat else []
    parts += [f"ending {', '.join(map(str, bar.ending))}"] if bar.ending else []
    parts += [beat.chord.symbol for beat in bar.beats]
    parts += ["repeat"] if bar.closes_repeat else []
    return " ".join(parts + [_ENDS[m] for m in _ENDS if m in bar.marks])


def _row(root: Element, chart: Chart, row: Sequence[ChartBar], top: float, *, last: bool) -> None:
    wide = _BAR
    before: ChartBar | None = None
    for place, bar in enumerate(row):
        left = _MARGIN + place * wide
        group = ET.SubElement(root, "g", {"class": "bar"})
        ET.SubElement(group, "title").text = _bar_words(bar)
        _left_line(group, left, top, bar, first=place == 0)
        _right_line(group, left + wide, top, bar, end=last and place == len(row) - 1)
        _ending(group, left, left + wide, top, bar, before)
        _signs(group, chart, left, left + wide, top, bar)
        if bar.same:
            _same(group, left + wide / 2, top)
        else:
            room = 14 if bar.opens_repeat else 0
            _chords(group, chart, bar.beats, left + room, wide - room, top)
        before = bar


def _line(group: Element, x: float, top: float, wide: float = 1.6) -> None:
    box = {"x": f"{x - wide / 2:.1f}", "y": f"{top:.1f}"}
    ET.SubElement(group, "rect", {**box, "width": f"{wide:.1f}", "height": f"{_HIGH:.0f}"})


def _dots(group: Element, x: float, top: float) -> None:
    for down in (0.38, 0.62):
        y = top + _HIGH * down
        ET.SubElement(group, "circle", {"cx": f"{x:.1f}", "cy": f"{y:.1f}", "r": "3.2"})


def _left_line(group: Element, x: float, top: float, bar: ChartBar, *, first: bool) -> None:
    if bar.opens_repeat:
        _line(group, x + 2, top, 5.0)
        _line(group, x + 9, top)
        _dots(group, x + 16, top)
    elif first:
        _line(group, x, top)


def _right_line(group: Element, x: float, top: float, bar: ChartBar, *, end: bool) -> None:
    if bar.closes_repeat:
        _dots(group, x - 16, top)
        _line(group, x - 9, top)
        _line(group, x - 2, top, 5.0)
    elif end:
        _line(group, x - 9, top)
        _line(group, x - 2, top, 5.0)
    else:
        _line(group, x, top)
        if bar.double:
            _line(group, x - 6, top)


def _ending(
    group: Element, left: float, right: float, top: float, bar: ChartBar, before: ChartBar | None
) -> None:
    if not bar.ending:
        return
    begins = before is None or before.ending != bar.ending
    path = f"M{left + 3:.0f} {top - (8 if begins else 20):.0f}V{top - 20:.0f}H{right - 3:.0f}"
    line = {"fill": "none", "stroke": "currentColor", "stroke-width": "1.6"}
    ET.SubElement(group, "path", {"d": path, **line})
    if begins:
        _text(group, left + 9, top - 5, ", ".join(f"{n}." for n in bar.ending), _SIGN)


def _until(mark: str, chart: Chart) -> str:
    """Where a jump back leads to in the end."""
    every = {m for bar in chart.bars for m in bar.marks}
    if mark not in ("dacapo", "dalsegno"):
        return ""
    return " al Coda" if "tocoda" in every else " al Fine" if "fine" in every else ""


def _signs(
    group: Element, chart: Chart, left: float, right: float, top: float, bar: ChartBar
) -> None:
    starts = [_STARTS[m] for m in _STARTS if m in bar.marks]
    ends = [_ENDS[m] + _until(m, chart) for m in _ENDS if m in bar.marks]
    shift = 34 if bar.ending else 4
    if starts:
        _text(group, left + shift, top - 6, ", ".join(starts), _SIGN, weight="700")
    if ends:
        made = _text(group, right - 4, top - 6, ", ".join(ends), _SIGN, weight="700")
        made.set("text-anchor", "end")


def _same(group: Element, middle: float, top: float) -> None:
    """The sign that repeats the bar before: a slanted stroke between two dots."""
    y = top + _HIGH / 2
    stroke = {"stroke": "currentColor", "stroke-width": "4.5", "fill": "none"}
    path = f"M{middle - 13:.1f} {y + 13:.1f}L{middle + 13:.1f} {y - 13:.1f}"
    ET.SubElement(group, "path", {"d": path, **stroke})
    for side in (-1, 1):
        where = {"cx": f"{middle + side * 13:.1f}", "cy": f"{y + side * 8:.1f}", "r": "3.6"}
        ET.SubElement(group, "circle", where)


def _chords(
    group: Element, chart: Chart, beats: Sequence[Beat], left: float, wide: float, top: float
) -> None:
    inner, start = wide - 26, left + 16
    edges = [*(float(beat.at / chart.bar) for beat in beats[1:]), 1.0]
    for beat, end in zip(beats, edges, strict=True):
        at = float(beat.at / chart.bar)
        room = (end - at) * inner
        made = _text(group, start + at * inner, top + _BASE, "", _ROOT)
        _chord(made, beat.chord, min(1.0, room / max(_width(beat.chord), 1.0)))


def _width(chord: Chord) -> float:
    """About how wide a chord is at full size."""
    if chord.root is None:
        return 4 * _ROOT * _NARROW
    wide = _ROOT * _NARROW + len(_suffix(chord)) * _SUFFIX * _NARROW + abs(chord.root.alter) * 14
    for lower in (chord.bass, chord.below):
        wide += 0.0 if lower is None else 2.4 * _SUFFIX
    return wide + 8


def _chord(text: Element, chord: Chord, share: float) -> None:
    """Pieces of a symbol, each at its size and height above the line."""
    level = 0.0
    for words, size, height in _pieces(chord):
        span = ET.SubElement(text, "tspan", {"font-size": f"{size * share:.1f}"})
        if height != level:
            span.set("dy", f"{(level - height) * share:.1f}")
        span.text, level = words, height


def _pieces(chord: Chord) -> list[tuple[str, float, float]]:
    if chord.root is None:
        return [("N.C.", _SUFFIX, 0.0)]
    found = [*_tone(chord.root, _ROOT), (_suffix(chord), _SUFFIX, _RAISED)]
    lower = chord.bass or (chord.below.root if chord.below else None)
    if lower is not None:
        found += [("/", _ROOT, 0.0), *_tone(lower, 0.8 * _ROOT)]
    if chord.below is not None:
        found.append((_suffix(chord.below), _SUFFIX, _RAISED))
    return [piece for piece in found if piece[0]]


def _tone(tone: Tone, size: float) -> list[tuple[str, float, float]]:
    sign = _ACCIDENTALS.get(tone.alter, "")
    return [(tone.letter, size, 0.0), (sign, size * 0.75, size * 0.18)]


def _suffix(chord: Chord) -> str:
    """What stands after the root, with printed accidentals before numbers."""
    text = chord.suffix
    for plain, sign in (("b", "♭"), ("#", "♯")):
        for number in ("5", "6", "9", "11", "13", "3"):
            text = text.replace(plain + number, sign + number)
    return text


def _text(
    group: Element, x: float, y: float, words: str, size: float, *, weight: str = ""
) -> Element:
    made = ET.SubElement(group, "text", {"x": f"{x:.1f}", "y": f"{y:.1f}"})
    made.set("font-size", f"{size:.1f}")
    if weight:
        made.set("font-weight", weight)
    made.text = words
    return made
