"""Reading what somebody sent in, apart from the process that serves: with limits, cached.

The same answers and refusals as `reading`, and one more: that it took too much time or memory.
"""

from functools import lru_cache

import msgspec

from coldtake.errors import PassageError
from coldtake.music.midi.choice import ImportChoice
from coldtake.music.notation.verovio_client import WORKER
from coldtake.music.passage import Passage
from coldtake.subprocesses import ProgressCallback, WorkerFailed

_LONG_S = 180.0  # for a long work that somebody watches
_TOO_MUCH = {
    "time": "reading it took too long and was stopped.",
    "memory": "reading it took more than a gigabyte of memory and was stopped.",
    "end": "the notation engine failed.",
    "fault": "Coldtake could not read it because of an internal error.",
}


def unpack(data: bytes, filename: str = "") -> tuple[str, str]:
    """As `reading.unpack`. Raises PassageError."""
    try:
        form, text, _ = WORKER.ask({"want": "unpack", "filename": filename}, data)
    except WorkerFailed as lost:
        raise _given_up(lost, filename) from lost
    return str(form), text.decode()


@lru_cache(maxsize=256)
def passage_of(text: str, form: str) -> Passage:
    """Read notation in the worker process (`reader.read_passage`). Raises PassageError."""
    try:
        _, found, _ = WORKER.ask({"want": "passage", "form": form}, text.encode())
    except WorkerFailed as lost:
        raise _given_up(lost) from lost
    except UnicodeEncodeError as fault:
        raise _no_text() from fault
    return msgspec.json.decode(found, type=Passage)


def read_slowly(text: str, form: str, tell: ProgressCallback) -> Passage:
    """Read a long work, telling the share done. Raises PassageError, WorkerCancelled."""
    job = {"want": "passage", "form": form}
    try:
        _, found, _ = WORKER.ask(job, text.encode(), seconds=_LONG_S, tell=tell)
    except WorkerFailed as lost:
        raise _given_up(lost) from lost
    except UnicodeEncodeError as fault:
        raise _no_text() from fault
    return msgspec.json.decode(found, type=Passage)


def midi(data: bytes, filename: str, choice: ImportChoice) -> tuple[str, tuple[str, ...]]:
    """A MIDI file's part as ABC, and how it came about; as `midi_page`. Raises PassageError."""
    job = {"want": "midi", "filename": filename, "choice": msgspec.to_builtins(choice)}
    try:
        facts, abc, _ = WORKER.ask(job, data)
    except WorkerFailed as lost:
        raise _given_up(lost, filename) from lost
    return abc.decode(), tuple(facts["said"])


def midi_parts(data: bytes, filename: str = "") -> tuple[tuple[str, int], ...]:
    """Name and count of notes of each part of a MIDI file. Raises PassageError."""
    try:
        found, _, _ = WORKER.ask({"want": "midi parts", "filename": filename}, data)
    except WorkerFailed as lost:
        raise _given_up(lost, filename) from lost
    return tuple((part["name"], part["notes"]) for part in found)


def _no_text() -> PassageError:
    """Half of a sign, as only a broken program writes it."""
    return PassageError("this is not text.", remedy="Use MusicXML, MEI or ABC.")


def _given_up(lost: WorkerFailed, filename: str = "") -> PassageError:
    return PassageError(
        _TOO_MUCH[lost.why],
        where=filename,
        remedy="Export it again from the program that made it, or use only the bars you need.",
    )
