"""A marked stretch of pages as one SVG for the stand: system below system, each as wide as it is.

It is laid out as an engraving is (`g.system`, a view box), so that whatever turns engravings turns
it. Where a window is narrow, a system is cut into parts that overlap, so that staves stay legible.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING
from xml.sax.saxutils import quoteattr

import msgspec

from coldtake.domain.page import PENCIL_UNITS, PageBand, Stroke, Strokes

if TYPE_CHECKING:
    from coldtake.music.print.worker_client import Picture
    from coldtake.practice.services import Services

_LEGIBLE = 24.0  # units of a staff's height; the session page asks for engravings of 28.8
_PARTS_MOST = 3
_OVERLAP = 0.04  # of the system's width: a note at the cut is whole in one of the parts
_PENCIL_WIDTH = 0.0022  # of the page's width
PENCIL = "#2f55a4"  # not the colour of print, and dark enough on the paper of every light


def picture_of(services: Services, bands: Sequence[PageBand], width: int, words: str) -> str:
    """Draw bands as SVG for a window of so many units. Raises NotFoundError, PassageError."""
    parts = [part for band in bands for part in parts_of(band, width)]
    pencil = [services.pages.pencil_on(part) for part in parts]
    return drawn(parts, services.pages.pictures(parts), pencil, width, words)


def parts_of(band: PageBand, width: int) -> tuple[PageBand, ...]:
    """Cut a band across where its staves would be too small in a window of so many units."""
    across = band.right - band.left
    staff = band.staff / across * width if across > 0 else 0.0
    count = max(1, min(_PARTS_MOST, round(_LEGIBLE / staff))) if staff else 1
    if count == 1:
        return (band,)
    size = across / count
    cuts = [(band.left + n * size, band.left + (n + 1) * size) for n in range(count)]
    return tuple(
        msgspec.structs.replace(
            band,
            left=max(band.left, a - _OVERLAP * across),
            right=min(band.right, b + _OVERLAP * across),
        )
        for a, b in cuts
    )


def drawn(
    bands: Sequence[PageBand],
    pictures: Sequence[Picture],
    pencil: Sequence[Strokes],
    width: int,
    words: str,
) -> str:
    """Lay the pictures out one below the other, with the pencil marks over each."""
    out, top = [], 0.0
    for band, picture, strokes in zip(bands, pictures, pencil, strict=True):
        height = width * picture.height / picture.width
        image = f"data:image/png;base64,{b64encode(picture.png).decode()}"
        marks = "".join(_lines(band, strokes, width, top, height))
        out.append(
            f'<g class="system"><image x="0" y="{top:.2f}" width="{width}" '
            f'height="{height:.2f}" preserveAspectRatio="none" href="{image}"/>{marks}</g>'
        )
        top += height
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="notation is-picture" role="img" '
        f'aria-label={quoteattr(words)} viewBox="0 0 {width} {top:.2f}" width="{width}" '
        f'height="{top:.2f}">{"".join(out)}</svg>'
    )


def _lines(
    band: PageBand, strokes: Strokes, width: float, top: float, height: float
) -> Iterator[str]:
    """Write what of each stroke lies on a band."""
    across, down = band.right - band.left, band.bottom - band.top
    thick = _PENCIL_WIDTH / across * width
    for stroke in strokes:
        for run in _runs(band, stroke):
            points = " ".join(
                f"{(x - band.left) / across * width:.1f},{top + (y - band.top) / down * height:.1f}"
                for x, y in run
            )
            yield (
                f'<polyline points="{points}" fill="none" stroke="{PENCIL}" '
                f'stroke-width="{thick:.2f}" stroke-linecap="round" stroke-linejoin="round"/>'
            )


def _runs(band: PageBand, stroke: Stroke) -> Iterator[list[tuple[float, float]]]:
    """Give the runs of a stroke's points that lie on a band."""
    places = [n / PENCIL_UNITS for n in stroke]
    points = list(zip(places[::2], places[1::2], strict=True))
    run: list[tuple[float, float]] = []
    for here, there in pairwise(points):
        if not (_on(band, here) and _on(band, there)):
            if run:
                yield run
            run = []
            continue
        run = [*run, there] if run else [here, there]
    if run:
        yield run


def _on(band: PageBand, point: tuple[float, float]) -> bool:
    return band.left <= point[0] <= band.right and band.top <= point[1] <= band.bottom
