"""What the worker process of printed pages does."""

from collections.abc import Callable
from typing import Any

import msgspec


def do(job: dict[str, Any], body: bytes, tell: Callable[[float], object]) -> tuple[Any, bytes]:
    """Read, measure or draw one page for `worker_client`."""
    tell(0.0)
    return _JOBS[job.get("do", "read")](job, body)


def _read(job: dict[str, Any], body: bytes) -> tuple[None, bytes]:
    from coldtake.music.print.reading import read_page

    return None, msgspec.json.encode(read_page(body, job["page"]))


def _count(_job: dict[str, Any], body: bytes) -> tuple[int, bytes]:
    from coldtake.music.print.paper import page_of

    return page_of(body)[1], b""


def _measure(job: dict[str, Any], body: bytes) -> tuple[None, bytes]:
    from coldtake.music.print.showing import measure

    found = measure(body, job["page"], job["turn"], job["angle"])
    return None, msgspec.json.encode(found)


def _draw(job: dict[str, Any], body: bytes) -> tuple[Any, bytes]:
    from coldtake.music.print.showing import pictures

    return pictures(body, job["page"], job["turn"], job["angle"], job["boxes"])


_JOBS = {"read": _read, "count": _count, "measure": _measure, "draw": _draw}
