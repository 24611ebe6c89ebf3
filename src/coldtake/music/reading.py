"""Notation in, passage out: MusicXML (.musicxml, .xml, .mxl), MEI and ABC.

`unpack` turns the bytes of a file into its format and text; `read_passage` turns those into the
list of notes that must sound. Both raise PassageError with the place and what to do.
"""

from functools import lru_cache

from coldtake.errors import PassageError
from coldtake.music import verovio_door
from coldtake.music.abc import abc_to_mei
from coldtake.music.passage import Passage
from coldtake.music.score import Score
from coldtake.music.unpacking import unpack

__all__ = ["FORMATS", "read_passage", "unpack"]

FORMATS = ("musicxml", "mei", "abc")


@lru_cache(maxsize=256)
def read_passage(text: str, format: str) -> Passage:  # noqa: A002 - the name agreed by all rooms
    """Read notation; format is one of FORMATS. Raises PassageError with the place."""
    if format not in FORMATS:
        raise PassageError(
            f"“{format}” is not a notation that can be read here.",
            remedy="Give MusicXML, MEI or ABC.",
        )
    if not text.strip():
        raise PassageError("the passage is empty.", remedy="Type or paste some notes.")
    return passage_of(_mei_of(text, format))


def _mei_of(text: str, form: str) -> str:
    if form == "abc":
        return abc_to_mei(text)
    found = verovio_door.to_mei(text, form)
    if found is None:
        raise PassageError(
            f"this is not {form} that can be read.",
            remedy="Export it again from where it was made.",
        )
    return found


def passage_of(mei_text: str) -> Passage:
    """The passage that an MEI text holds."""
    return Score(mei_text).passage()
