"""A process of its own for verovio: jobs in on stdin, answers out on stdout.

Run by path with `python -P`, and importing nothing of Coldtake: broken notation can end a process
in the engraver (divisions by zero and aborts were seen), which must not end the server. Each
message is a length in four bytes, then JSON.
"""

import json
import os
import struct
import sys
import tempfile
from typing import Any, BinaryIO


def main() -> None:
    """Answer jobs until stdin ends."""
    answers = os.fdopen(os.dup(1), "wb")
    with tempfile.TemporaryFile() as log:
        os.dup2(log.fileno(), 1)  # verovio speaks on both; nothing of it may mix with answers
        os.dup2(log.fileno(), 2)
        while (job := _receive(sys.stdin.buffer)) is not None:
            answer = _do(job)
            log.flush()
            log.seek(0)
            answer["log"] = log.read(20_000).decode("utf-8", "replace")
            log.seek(0)
            log.truncate()
            _send(answers, answer)


def _receive(source: BinaryIO) -> dict[str, Any] | None:
    head = source.read(4)
    if len(head) < 4:
        return None
    job: dict[str, Any] = json.loads(source.read(struct.unpack(">I", head)[0]))
    return job


def _send(target: BinaryIO, answer: dict[str, Any]) -> None:
    text = json.dumps(answer).encode("utf-8")
    target.write(struct.pack(">I", len(text)) + text)
    target.flush()


def _do(job: dict[str, Any]) -> dict[str, Any]:
    import verovio

    verovio.enableLog(verovio.LOG_WARNING)
    kit = verovio.toolkit()
    kit.setOptions(job["options"])
    kit.setInputFrom(job["reader"])
    if not kit.loadData(job["text"]):
        return {"ok": False}
    if job["want"] == "mei":
        kit.renderToSVG(1)  # what cannot be drawn must be known at once
        return {"ok": True, "pages": [str(kit.getMEI({}))]}
    return {"ok": True, "pages": [str(kit.renderToSVG(n + 1)) for n in range(kit.getPageCount())]}


if __name__ == "__main__":
    main()
