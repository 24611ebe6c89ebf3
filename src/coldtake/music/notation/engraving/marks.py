"""Marks on noteheads: a colour, a shape that differs without colour, and words to read out.

Coordinates are those of the engraving: 90 is half the distance between two staff lines.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from coldtake.music.mei import Element

MarkKind = Literal["right", "wrong", "missed", "extra", "early", "late", "stop", "unsure"]
HALF_SPACE = 90.0
SVG = "http://www.w3.org/2000/svg"

# Colours with a contrast of at least 4.5 to white paper, apart for colour-blind eyes (Okabe and
# Ito, "Color Universal Design", 2008, Tokyo, darkened); pages may override them by class.
COLOURS: dict[str, str] = {
    "right": "#00664b",
    "wrong": "#b03a00",
    "missed": "#7a1f5c",
    "extra": "#b03a00",
    "early": "#00558c",
    "late": "#00558c",
    "stop": "#7a4b00",
    "unsure": "#595959",
}


@dataclass(frozen=True, slots=True)
class NoteMark:
    """What is said about one note; `words` become its title."""

    kind: MarkKind
    words: str


@dataclass(frozen=True, slots=True)
class ExtraMark:
    """A note that was played but is not written: where, in beats as played, and its words.

    pitch : sounding MIDI number, placed on the staff at its height; None: above the staff
    """

    beat: float
    words: str
    pitch: int | None = None


@dataclass(frozen=True, slots=True)
class BarMark:
    """A bracket under one bar.

    head : id of a notehead in it; share : 0..1, the weight of the bracket
    label : a few characters under the bracket; words : read out
    """

    head: str
    share: float
    label: str
    words: str


def element(name: str, **attributes: str | float) -> Element:
    """An SVG element; underscores in names become hyphens."""
    return Element(
        f"{{{SVG}}}{name}",
        {k.rstrip("_").replace("_", "-"): _plain(v) for k, v in attributes.items()},
    )


def _plain(value: str | float) -> str:
    return value if isinstance(value, str) else f"{value:.0f}"


def _line(d: str, **more: str | float) -> Element:
    return element(
        "path",
        d=d,
        fill="none",
        stroke="currentColor",
        stroke_width=34,
        stroke_linecap="round",
        **more,
    )


def _tick(x: float, y: float) -> list[Element]:
    return [_line(f"M{x - 80:.0f} {y:.0f}l55 65l110 -140")]


def _cross(x: float, y: float) -> list[Element]:
    return [_line(f"M{x - 80:.0f} {y - 80:.0f}l160 160m0 -160l-160 160")]


def _hollow(x: float, y: float) -> list[Element]:
    return [
        element(
            "rect",
            x=x - 85,
            y=y - 85,
            width=170,
            height=170,
            fill="none",
            stroke="currentColor",
            stroke_width=30,
            stroke_dasharray="60 45",
        )
    ]


def _left(x: float, y: float) -> list[Element]:
    return [_line(f"M{x + 70:.0f} {y - 90:.0f}l-140 90l140 90", stroke_linejoin="round")]


def _right(x: float, y: float) -> list[Element]:
    return [_line(f"M{x - 70:.0f} {y - 90:.0f}l140 90l-140 90", stroke_linejoin="round")]


def _strokes(x: float, y: float) -> list[Element]:
    return [_line(f"M{x - 75:.0f} {y + 90:.0f}l60 -180m40 180l60 -180")]


def _question(x: float, y: float) -> list[Element]:
    dot = element("circle", cx=x, cy=y + 105, r=20, fill="currentColor", stroke="none")
    return [_line(f"M{x - 50:.0f} {y - 50:.0f}a52 52 0 1 1 70 55q-20 10 -20 45"), dot]


def _diamond(x: float, y: float) -> list[Element]:
    d = f"M{x:.0f} {y - 95:.0f}l80 95l-80 95l-80 -95z"
    return [element("path", d=d, fill="currentColor", stroke="none")]


SHAPES: dict[str, Callable[[float, float], list[Element]]] = {
    "right": _tick,
    "wrong": _cross,
    "missed": _hollow,
    "extra": _diamond,
    "early": _left,
    "late": _right,
    "stop": _strokes,
    "unsure": _question,
}


def bracket(mark: BarMark, left: float, right: float, y: float) -> Element:
    """The bracket of a bar: thicker and deeper the more often it breaks, its label below."""
    depth = HALF_SPACE * (1 + 2 * mark.share)
    group = element("g", class_="bar-mark", color=COLOURS["wrong"])
    title = element("title")
    title.text = mark.words
    path = element(
        "path",
        d=f"M{left + 60:.0f} {y - depth:.0f}v{depth:.0f}H{right - 60:.0f}v{-depth:.0f}",
        fill="none",
        stroke="currentColor",
        stroke_width=20 + 60 * mark.share,
        stroke_linejoin="round",
    )
    text = element(
        "text",
        x=(left + right) / 2,
        y=y + 4 * HALF_SPACE,
        font_size=3.6 * HALF_SPACE,
        text_anchor="middle",
        fill="currentColor",
        stroke="none",
    )
    text.text = mark.label
    group.extend((title, path, text))
    return group


def drawn(mark: NoteMark, x: float, y: float) -> list[Element]:
    """The shape of a mark centred at a point, as elements."""
    if not (math.isfinite(x) and math.isfinite(y)):
        return []
    group = element("g", class_="mark-shape")
    group.extend(SHAPES[mark.kind](x, y))
    return [group]
