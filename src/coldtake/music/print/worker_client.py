"""Reading a page that somebody sent in, in a process of its own with limits.

The answers and refusals are those of `reading`, and one more: that it took too much time or memory.
Nothing here imports what reading needs.
"""

import msgspec

from coldtake.errors import PassageError
from coldtake.music.print.records import PrintedPage
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
    try:
        _, found, _ = WORKER.ask({"page": number}, data)
    except WorkerFailed as lost:
        remedy = "Scan the page again at 300 dpi, or use only that page."
        raise PassageError(_TOO_MUCH[lost.why], where=filename, remedy=remedy) from lost
    except PassageError as refused:
        where = ", ".join(part for part in (filename, refused.where) if part)
        raise PassageError(refused.what, where=where, remedy=refused.remedy) from refused
    return msgspec.json.decode(found, type=PrintedPage)
