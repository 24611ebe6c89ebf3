"""Reading a page that somebody sent in, in a process of its own with limits.

The answers and refusals are those of `reading`, and one more: that it took too much time or memory.
Nothing here imports what reading needs.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from typing import Any

import msgspec

from coldtake.errors import PassageError
from coldtake.music.print.records import Box, PageMeasure, PrintedPage
from coldtake.subprocesses import Limits, WorkerClient, WorkerFailed

WORKER = WorkerClient("coldtake.music.print.worker", Limits(seconds=60.0, cpu_s=20.0), processes=1)
_TOO_MUCH = {
    "time": "reading this page took too long and was stopped.",
    "memory": "reading this page took more than a gigabyte of memory and was stopped.",
    "end": "reading this page failed.",
    "fault": "Coldtake could not read this page because of an internal error.",
}


def read_page(data: bytes, number: int = 1, filename: str = "") -> PrintedPage:
    """Read one page (from 1) of a PDF, PNG or JPEG file. Raises PassageError."""
    _, found = _asked({"page": number}, data, filename)
    return msgspec.json.decode(found, type=PrintedPage)


@dataclass(frozen=True, slots=True)
class Picture:
    """A part of a page as PNG, black print of 16 degrees of opacity; size in pixels."""

    png: bytes
    width: int
    height: int


def count_pages(data: bytes, filename: str) -> int:
    """Count the pages of a file, after its first was opened. Raises PassageError."""
    told, _ = _asked({"do": "count"}, data, filename)
    return int(told)


def measure_page(
    data: bytes, number: int, filename: str, turn: int | None = None, angle: float = 0.0
) -> PageMeasure:
    """Find out how a page lies and where its systems are; see `showing`. Raises PassageError."""
    job = {"do": "measure", "page": number, "turn": turn, "angle": angle}
    _, found = _asked(job, data, filename)
    return msgspec.json.decode(found, type=PageMeasure)


def draw_page(
    data: bytes, number: int, turn: int, angle: float, boxes: Sequence[Box]
) -> tuple[Picture, ...]:
    """Draw parts of a page (left, top, right, bottom as shares of it). Raises PassageError."""
    job = {"do": "draw", "page": number, "turn": turn, "angle": angle, "boxes": list(boxes)}
    told, found = _asked(job, data, "")
    ends = accumulate((size for size, _, _ in told), initial=0)
    parts = zip(told, pairwise(ends), strict=True)
    return tuple(Picture(found[a:b], width, height) for (_, width, height), (a, b) in parts)


def _asked(job: dict[str, Any], data: bytes, filename: str) -> tuple[Any, bytes]:
    try:
        told, found, _ = WORKER.ask(job, data)
    except WorkerFailed as lost:
        remedy = "Scan the page again at 300 dpi, or use only that page."
        raise PassageError(_TOO_MUCH[lost.why], where=filename, remedy=remedy) from lost
    except PassageError as refused:
        where = ", ".join(part for part in (filename, refused.where) if part)
        raise PassageError(refused.what, where=where, remedy=refused.remedy) from refused
    return told, found
