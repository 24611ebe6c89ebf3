"""A page's bytes to what stands on it: the whole way, in the process that asks.

For what somebody sent in use `worker_client`, which does this with limits of time and memory.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from coldtake.errors import PassageError
from coldtake.music.print import assembling, network, paper, staves
from coldtake.music.print.paper import Ink
from coldtake.music.print.records import PrintedBar, PrintedPage, PrintedStaff
from coldtake.music.print.symbols import HEIGHT_PX, SPACE_PX

_SIGN_PX = 30  # pixels of a digit, at least
_JOINED = 0.6  # of the way between two staves is inked where they begin together


def read_page(data: bytes, number: int = 1) -> PrintedPage:
    """Read one page (from 1) of a PDF, PNG or JPEG file. Raises PassageError."""
    ink, pages = paper.page_of(data, number)
    found = read_ink(ink)
    if not found:
        raise PassageError(
            "no staves were found on this page.",
            where=f"page {number}",
            remedy="Choose a page with printed music, flat, in even light and sharp.",
        )
    return PrintedPage(tuple(found), number, pages)


def read_ink(ink: Ink) -> list[PrintedStaff]:
    """Read every staff of a page from the top down; as `paper.ink_of` gives it."""
    sheet = staves.find(ink)
    states: dict[int, assembling.PrintState] = {}
    out = []
    for (system, number), staff in zip(systems_of(sheet), sheet.staves, strict=True):
        picture, columns = staves.straightened(sheet, staff)
        symbols = network.symbols_on(picture)
        state = states.setdefault(number, assembling.PrintState())
        bars = assembling.bars_of(symbols, state)
        if all(symbol.name != "rests" for symbol in symbols):
            bars = tuple(_numbered_rest(picture, bar) for bar in bars)
        if bars:
            out.append(_printed(sheet, staff, columns, bars, system, number))
    return _marked(out)


def _numbered_rest(picture: Ink, bar: PrintedBar) -> PrintedBar:
    """Doubt a single bar of rest with something above it: it may be the number of several bars."""
    if len(bar.notes) != 1 or bar.notes[0].pitch is not None or bar.doubts:
        return bar
    quarter = (bar.right - bar.left) / 4
    top = HEIGHT_PX // 2 - 2 * SPACE_PX
    above = picture[
        top - 5 * SPACE_PX : top - SPACE_PX // 2,
        round(bar.left + quarter) : round(bar.right - quarter),
    ]
    if np.count_nonzero(above > 0.5) < _SIGN_PX:
        return bar
    return replace(bar, doubts=("rests",))


def _printed(
    sheet: staves.FoundStaves,
    staff: staves.FoundStaff,
    columns: NDArray[np.float64],
    bars: tuple[PrintedBar, ...],
    system: int,
    number: int,
) -> PrintedStaff:
    height, width = sheet.ink.shape

    def across(column: float) -> float:
        at = float(np.interp(column, np.arange(len(columns)), columns))
        return float(min(max(at / width, 0.0), 1.0))

    placed = tuple(replace(b, left=across(b.left), right=across(b.right)) for b in bars)
    around = 6 * staff.space
    first = bars[0]
    return PrintedStaff(
        system, number, first.clef, first.key_fifths, first.time, placed,
        max(float(staff.y.min() - around) / height, 0.0),
        min(float(staff.y.max() + around) / height, 1.0),
    )  # fmt: skip


def systems_of(sheet: staves.FoundStaves) -> list[tuple[int, int]]:
    """System and number in it of each staff: those joined by a line at their left end are one."""
    out: list[tuple[int, int]] = []
    for above, staff in zip([None, *sheet.staves], sheet.staves, strict=False):
        if above is not None and _joined(sheet.ink, above, staff):
            out.append((out[-1][0], out[-1][1] + 1))
        else:
            out.append((out[-1][0] + 1 if out else 1, 1))
    return out


def _joined(ink: Ink, above: staves.FoundStaff, below: staves.FoundStaff) -> bool:
    if abs(above.x[0] - below.x[0]) > 3 * above.space:
        return False
    top, bottom = above.y[0] + 2 * above.space, below.y[0] - 2 * below.space
    if not 1 < (bottom - top) / above.space < 20:
        return False
    middle = (above.x[0] + below.x[0]) / 2
    reach = round(1.5 * above.space)
    part = ink[
        round(top) + 2 : round(bottom) - 1, max(round(middle) - reach, 0) : round(middle) + reach
    ]
    return bool(part.size) and float((part > 0.4).mean(0).max()) > _JOINED


def _marked(found: list[PrintedStaff]) -> list[PrintedStaff]:
    """Every doubt, part by part."""
    out = list(found)
    for number in {staff.number for staff in found}:
        rows = [i for i, staff in enumerate(found) if staff.number == number]
        bars = assembling.marked([bar for i in rows for bar in found[i].bars])
        for i in rows:
            count = len(found[i].bars)
            out[i] = replace(found[i], bars=tuple(bars[:count]))
            bars = bars[count:]
    return out
