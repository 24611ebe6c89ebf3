"""What the worker process of printed pages does."""

from collections.abc import Callable
from typing import Any

import msgspec


def do(job: dict[str, Any], body: bytes, tell: Callable[[float], object]) -> tuple[None, bytes]:
    """Read one page for `worker_client`."""
    from coldtake.music.print.reading import read_page

    tell(0.0)
    return None, msgspec.json.encode(read_page(body, job["page"]))
