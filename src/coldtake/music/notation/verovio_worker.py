"""What the worker process of notation does: verovio itself, or reading a passage as a whole.

Broken notation can end a process in the engraver (divisions by zero and aborts were seen), or make
it eat time and memory, which must not happen to the server.
"""

from collections.abc import Callable
from typing import Any

import msgspec

from coldtake.music.notation.verovio_client import engrave


def do(job: dict[str, Any], body: bytes, tell: Callable[[float], object]) -> tuple[Any, bytes]:
    """Do one job for `verovio_client` or `worker_client`."""
    if job["want"] == "passage":
        return _passage(job["form"], body, tell)
    if job["want"] == "unpack":
        return _unpacked(body, job["filename"])
    if job["want"] == "midi":
        return _midi(body, job["filename"], job["choice"])
    if job["want"] == "midi parts":
        return _midi_parts(body, job["filename"]), b""
    return engrave(job), b""


def _passage(form: str, body: bytes, tell: Callable[[float], object]) -> tuple[None, bytes]:
    from coldtake.music.notation.reading.reader import read_slowly

    return None, msgspec.json.encode(read_slowly(body.decode(), form, tell))


def _unpacked(body: bytes, filename: str) -> tuple[str, bytes]:
    from coldtake.music.notation.reading.reader import unpack

    form, text = unpack(body, filename)
    return form, text.encode("utf-8", "replace")


def _midi(body: bytes, filename: str, choice: dict[str, Any]) -> tuple[dict[str, Any], bytes]:
    from coldtake.music.midi.choice import ImportChoice
    from coldtake.music.midi.page import midi_page

    page = midi_page(body, filename, msgspec.convert(choice, ImportChoice))
    return {"said": page.said}, page.abc.encode("utf-8", "replace")


def _midi_parts(body: bytes, filename: str) -> list[dict[str, Any]]:
    from coldtake.music.midi.reader import read_midi

    return [{"name": p.name, "notes": len(p.notes)} for p in read_midi(body, filename).parts]
