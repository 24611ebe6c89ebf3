"""Notation in, passage out: MusicXML (.musicxml, .xml, .mxl), MEI and ABC.

`unpack` turns the bytes of a file into its format and text; `read_passage` turns those into the
list of notes that must sound. Both raise PassageError with the place and what to do.
"""

from collections.abc import Callable, Mapping
from fractions import Fraction
from functools import lru_cache

from coldtake.errors import PassageError
from coldtake.music import mei
from coldtake.music.abc.write import abc_to_mei
from coldtake.music.notation import verovio_client
from coldtake.music.notation.reading import long_scores, musicxml
from coldtake.music.notation.reading.score import Score
from coldtake.music.notation.reading.unpacking import unpack
from coldtake.music.passage import Passage
from coldtake.music.theory import spelling

__all__ = ["FORMATS", "read_passage", "read_slowly", "unpack"]

Told = Callable[[float], object]

FORMATS = ("musicxml", "mei", "abc")
_NAMES = {"musicxml": "MusicXML", "mei": "MEI"}


@lru_cache(maxsize=256)
def read_passage(text: str, form: str) -> Passage:
    """Read notation; `form` is one of FORMATS. Raises PassageError with the place."""
    return read_slowly(text, form, _nobody)


def read_slowly(text: str, form: str, tell: Told) -> Passage:
    """Read notation and tell what share of it is done. Raises PassageError."""
    if form not in FORMATS:
        raise PassageError(
            f"“{form}” is not a notation that can be read here.",
            remedy="Use MusicXML, MEI or ABC.",
        )
    if not text.strip():
        raise PassageError("the passage is empty.", remedy="Type or paste some notes.")
    return passage_of(_mei_of(text, form, tell))


def _nobody(_share: float) -> None:
    return None


def _mei_of(text: str, form: str, tell: Told) -> str:
    """The notation as MEI."""
    if form == "abc":
        return abc_to_mei(text)
    if form == "musicxml":
        ready = musicxml.prepare(text)
        if len(ready.bar_beats) < long_scores.LONG:
            return _annotated(mei.parse(_through_verovio(ready.text, form)), ready)
        return _in_stretches(ready, tell)
    musicxml.parsed(text, "MEI")
    return _through_verovio(text, form)


def _in_stretches(ready: musicxml.Prepared, tell: Told) -> str:
    """A long work, one stretch after another."""
    stretches = long_scores.Stretches(ready.root)
    total = len(stretches.edges) + 2
    pages = []
    for number, text in enumerate(stretches.texts()):
        tell((number + 1) / total)
        pages.append(_through_verovio(text, "musicxml", seed=number, drawn=False))
    root = long_scores.joined(pages, stretches.new_signs)
    tell((total - 1) / total)
    return _annotated(root, ready, ties=True)


def _through_verovio(text: str, form: str, *, seed: int = 0, drawn: bool = True) -> str:
    answer = verovio_client.to_mei(text, form, seed=seed, drawn=drawn)
    if not answer.pages:
        reason = next((line for line in answer.log if line.strip()), "no reason was given")
        raise PassageError(
            f"this {_NAMES[form]} cannot be read ({_plain(reason)}).",
            remedy="Export it again from the program that made it, or use only the bars you need.",
        )
    return answer.pages[0]


def _plain(line: str) -> str:
    """A line of verovio's log without its mark of severity."""
    return line.partition("] ")[2] or line


def _annotated(root: mei.Element, ready: musicxml.Prepared, *, ties: bool = False) -> str:
    """Say what verovio drops: ends of ties, alterations, lengths of bars, spellings of chords."""
    for note in mei.all_of(root, "note"):
        if mei.xml_id(note) in ready.tie_stops:
            mei.add_type(note, "tie-stop")
        if ties and mei.xml_id(note) in ready.tie_starts:
            mei.add_type(note, "tie-start")
        _state_alter(note, ready.alters)
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


def _state_alter(note: mei.Element, alters: Mapping[str, Fraction]) -> None:
    """State the alteration of the file; verovio's is sometimes that of another note."""
    alter = alters.get(mei.xml_id(note), Fraction(99))
    if alter in spelling.GESTURES:
        note.set("accid.ges", spelling.GESTURES[alter])


def passage_of(mei_text: str) -> Passage:
    """The passage that an MEI text holds."""
    return Score(mei_text).passage()
