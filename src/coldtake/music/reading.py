"""Notation in, passage out: MusicXML (.musicxml, .xml, .mxl), MEI and ABC.

`unpack` turns the bytes of a file into its format and text; `read_passage` turns those into the
list of notes that must sound. Both raise PassageError with the place and what to do.
"""

from functools import lru_cache

from coldtake.errors import PassageError
from coldtake.music import mei, musicxml, verovio_door
from coldtake.music.abc import abc_to_mei
from coldtake.music.passage import Passage
from coldtake.music.score import Score
from coldtake.music.unpacking import unpack

__all__ = ["FORMATS", "read_passage", "unpack"]

FORMATS = ("musicxml", "mei", "abc")
_NAMES = {"musicxml": "MusicXML", "mei": "MEI"}


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
    """The notation as MEI."""
    if form == "abc":
        return abc_to_mei(text)
    if form == "musicxml":
        ready = musicxml.prepare(text)
        return _annotated(_through_verovio(ready.text, form), ready)
    musicxml.parsed(text, "MEI")
    return _through_verovio(text, form)


def _through_verovio(text: str, form: str) -> str:
    answer = verovio_door.to_mei(text, form)
    if not answer.pages:
        reason = next((line for line in answer.log if line.strip()), "no reason was given")
        raise PassageError(
            f"this {_NAMES[form]} cannot be read ({_plain(reason)}).",
            remedy="Export it again from the program that made it, or give only the bars you need.",
        )
    return answer.pages[0]


def _plain(line: str) -> str:
    """A line of verovio's log without its mark of severity."""
    return line.partition("] ")[2] or line


def _annotated(mei_text: str, ready: musicxml.Prepared) -> str:
    """Say what verovio drops: ends of ties, how long a bar is, how a chord is spelled."""
    root = mei.parse(mei_text)
    for note in mei.all_of(root, "note"):
        if mei.xml_id(note) in ready.tie_stops:
            mei.add_type(note, "tie-stop")
    for harm in mei.all_of(root, "harm"):
        number = mei.text_of(harm).split(musicxml.HARMONY_SIGN)
        if len(number) == 3 and int(number[1]) < len(ready.symbols):
            harm[:] = []
            harm.text = ready.symbols[int(number[1])]
    measures = list(mei.all_of(root, "measure"))
    if len(measures) == len(ready.bar_beats):
        for measure, beats in zip(measures, ready.bar_beats, strict=True):
            if beats > 0:
                mei.add_type(measure, f"beats-{beats.numerator}-{beats.denominator}")
    return mei.write(root)


def passage_of(mei_text: str) -> Passage:
    """The passage that an MEI text holds."""
    return Score(mei_text).passage()
