"""A page as it is, for the stand: how it lies, where its systems are, and its picture.

A picture is print without the paper: black with 16 degrees of opacity, so that it stands on
whatever light the stand has. Places are shares of the page turned and straightened
(`domain.page`).
"""

import io
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from coldtake.music.print import paper, reading, staves
from coldtake.music.print.paper import Ink
from coldtake.music.print.records import Box, PageMeasure

_DEGREES = 15  # of opacity, besides none
_LEVEL_DEG = 0.15  # what slopes less lies level
_ANGLE_MOST_DEG = 15.0
_ROOM_LEFT, _ROOM_RIGHT = 14, 4  # spaces beside the staves: names of instruments stand on the left
_ROOM_OUTSIDE = 7  # spaces above the first system and below the last
_PRINT = 0.5  # ink that is print
_EDGE_PX = 24  # paper kept around the print
_LEAST = 3  # inked pixels in a row or column of print


def measure(data: bytes, number: int, turn: int | None = None, angle: float = 0.0) -> PageMeasure:
    """Find out how a page (from 1) lies; a given turn and angle are kept. Raises PassageError."""
    ink, pages = paper.page_of(data, number)
    sheet = None
    if turn is None:
        sheet = staves.find(ink)
        turn, angle = sheet.turn, _level(sheet)
    ink = upright(ink, turn, angle)
    if sheet is None or angle or sheet.angle_deg:
        sheet = staves.find(ink)
        if sheet.turn or sheet.angle_deg:  # the player turned it otherwise, and knows better
            sheet = staves.FoundStaves(ink, ())
    systems, staff = _systems(sheet)
    return PageMeasure(
        pages=pages,
        turn=turn,
        angle_deg=angle,
        box=_cropped(ink, sheet),
        systems=systems,
        staff=staff,
    )


def pictures(
    data: bytes, number: int, turn: int, angle: float, boxes: Sequence[Box]
) -> tuple[list[tuple[int, int, int]], bytes]:
    """Draw parts of a page: (bytes, width, height in pixels) of each PNG, and the PNGs in a row."""
    ink = upright(paper.page_of(data, number)[0], turn, angle)
    height, width = ink.shape
    told, out = [], io.BytesIO()
    for left, top, right, bottom in boxes:
        a, b = round(top * height), max(round(bottom * height), round(top * height) + 1)
        c, d = round(left * width), max(round(right * width), round(left * width) + 1)
        part = ink[min(a, height - 1) : b, min(c, width - 1) : d]
        begin = out.tell()
        _png(part, out)
        told.append((out.tell() - begin, part.shape[1], part.shape[0]))
    return told, out.getvalue()


def upright(ink: Ink, turn: int, angle: float) -> Ink:
    """Turn and straighten; angle : degrees against the clock."""
    from scipy import ndimage

    ink = np.ascontiguousarray(np.rot90(ink, turn))
    if not angle:
        return ink
    return np.asarray(ndimage.rotate(ink, angle, order=1, mode="constant"), np.float32)


def _png(part: Ink, out: io.BytesIO) -> None:
    from PIL import Image

    degrees: NDArray[np.uint8] = np.round(np.clip(part, 0, 1) * _DEGREES).astype(np.uint8)
    image = Image.fromarray(degrees, "P")
    image.putpalette([0] * 3 * (_DEGREES + 1))
    opacity = bytes(round(255 * n / _DEGREES) for n in range(_DEGREES + 1))
    image.save(out, "PNG", transparency=opacity, bits=4)


def _level(sheet: staves.FoundStaves) -> float:
    """By how many degrees a page must be turned so that its staves lie level."""
    slopes = [
        float(np.degrees(np.arctan(np.polyfit(s.x, s.y, 1)[0])))
        for s in sheet.staves
        if len(s.x) > 2
    ]
    angle = sheet.angle_deg + (float(np.median(slopes)) if slopes else 0.0)
    level = abs(angle) < _LEVEL_DEG or abs(angle) > _ANGLE_MOST_DEG
    return 0.0 if level else round(angle, 2)


def _systems(sheet: staves.FoundStaves) -> tuple[tuple[tuple[float, float], ...], float]:
    """Top and bottom of each system, and the height of a staff as a share of the width."""
    if not sheet.staves:
        return (), 0.0
    height, width = sheet.ink.shape
    space = float(np.median([s.space for s in sheet.staves]))
    edges: list[list[float]] = []
    for (system, _), staff in zip(reading.systems_of(sheet), sheet.staves, strict=True):
        top, bottom = float(staff.y.min()) - 2 * space, float(staff.y.max()) + 2 * space
        if system > len(edges):
            edges.append([top, bottom])
        else:
            edges[-1][1] = bottom
    inked = (sheet.ink > _PRINT).sum(1)
    for above, below in pairwise(edges):
        above[1] = below[0] = _emptiest(inked, above[1], below[0])
    edges[0][0] -= _ROOM_OUTSIDE * space
    edges[-1][1] += _ROOM_OUTSIDE * space
    shares = tuple((max(a / height, 0.0), min(b / height, 1.0)) for a, b in edges)
    return shares, min(4 * space / width, 1.0)


def _emptiest(inked: NDArray[np.int_], top: float, bottom: float) -> float:
    """The row between two systems with the least print, the nearest to the middle of equal ones."""
    middle = (top + bottom) / 2
    a, b = max(round(top), 0), min(round(bottom), len(inked))
    if b - a < 2:
        return middle
    rows = np.arange(a, b)
    return float(min(rows, key=lambda row: (int(inked[row]), abs(row - middle))))


def _cropped(ink: Ink, sheet: staves.FoundStaves) -> Box:
    """Where the print is; beside staves not more than belongs to them."""
    height, width = ink.shape
    columns = np.flatnonzero((ink > _PRINT).sum(0) >= _LEAST)
    rows = np.flatnonzero((ink > _PRINT).sum(1) >= _LEAST)
    if not len(columns) or not len(rows):
        return (0.0, 0.0, 1.0, 1.0)
    left, right = int(columns[0]) - _EDGE_PX, int(columns[-1]) + _EDGE_PX
    if sheet.staves:
        scale = width / sheet.ink.shape[1]
        space = float(np.median([s.space for s in sheet.staves]))
        left = max(left, round(scale * (min(s.x[0] for s in sheet.staves) - _ROOM_LEFT * space)))
        right = min(
            right, round(scale * (max(s.x[-1] for s in sheet.staves) + _ROOM_RIGHT * space))
        )
    top, bottom = int(rows[0]) - _EDGE_PX, int(rows[-1]) + _EDGE_PX
    return (
        max(left / width, 0.0),
        max(top / height, 0.0),
        min(right / width, 1.0),
        min(bottom / height, 1.0),
    )
