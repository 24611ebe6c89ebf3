"""Signs around the notes as MusicXML: ties, slurs, clefs, dynamics, words, tempi, jumps."""

import xml.etree.ElementTree as ET
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from coldtake.music import mei
from coldtake.music.mei import Element
from coldtake.music.notation.reading.page_text import tempo_mark
from coldtake.music.notation.reading.score import Score
from coldtake.music.notation.reading.written_bars import WrittenBar
from coldtake.music.passage import Passage, TempoMark

_SLURS = 6  # numbers in turn, so that overlapping slurs are told apart
_UNITS = {0.25: "16th", 0.5: "eighth", 1.0: "quarter", 2.0: "half", 4.0: "whole"}
_DYNAMICS = frozenset(
    (
        *("pppp", "ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "ffff"),
        *("fp", "sf", "sfz", "fz", "rf", "rfz", "sfp"),
    )
)
_AT_START = {"segno": "segno", "coda": "coda"}
_AT_END = {
    "fine": ("Fine", {"fine": "yes"}),
    "tocoda": ("To Coda", {"tocoda": "coda"}),
    "dacapo": ("D.C.", {"dacapo": "yes"}),
    "dalsegno": ("D.S.", {"dalsegno": "segno"}),
}


@dataclass(frozen=True, slots=True)
class Signs:
    """By notehead or chord id: ties, slurs (kind, number), fermatas."""

    tie_starts: frozenset[str]
    tie_stops: frozenset[str]
    slurs: dict[str, list[tuple[str, int]]]
    fermatas: frozenset[str]

    @classmethod
    def of(cls, score: Score, passage: Passage) -> "Signs":
        """The signs of a page; ties are those that the reader has joined."""
        starts, stops = _chains(n.notation_ids for n in passage.notes)
        fermatas = frozenset(mei.ref(f, "startid") for f in mei.all_of(score.score, "fermata"))
        return cls(starts, stops, _slurs(score.score), fermatas)

    def ties_of(self, name: str) -> tuple[str, ...]:
        """Stop before start, as the schema asks."""
        stop = ("stop",) if name in self.tie_stops else ()
        return (*stop, *(("start",) if name in self.tie_starts else ()))


def _chains(heads: Iterable[tuple[str, ...]]) -> tuple[frozenset[str], frozenset[str]]:
    """Noteheads that a tie leaves, and those that one reaches."""
    pairs = [pair for chain in heads for pair in pairwise(chain)]
    return frozenset(a for a, _ in pairs), frozenset(b for _, b in pairs)


def _slurs(score: Element) -> dict[str, list[tuple[str, int]]]:
    found: dict[str, list[tuple[str, int]]] = {}
    for count, slur in enumerate(mei.all_of(score, "slur")):
        start, end = mei.ref(slur, "startid"), mei.ref(slur, "endid")
        if start and end and start != end:
            number = count % _SLURS + 1
            found.setdefault(start, []).append(("start", number))
            found.setdefault(end, []).append(("stop", number))
    return found


def clef_element(clef: Element, number: int) -> Element:
    """<clef> of a MEI clef, or of a staffDef that says its clef itself."""
    own = {k.removeprefix("clef."): v for k, v in clef.attrib.items()}
    made = ET.Element("clef", number=str(number))
    shape = own.get("shape", "G")
    ET.SubElement(made, "sign").text = shape if shape in ("G", "F", "C") else "G"
    if own.get("line"):
        ET.SubElement(made, "line").text = own["line"]
    octaves = {"8": 1, "15": 2, "22": 3}.get(own.get("dis", ""), 0)
    if octaves:
        down = own.get("dis.place") == "below"
        ET.SubElement(made, "clef-octave-change").text = str(-octaves if down else octaves)
    return made


def directions(element: Element) -> list[Element]:
    """<direction> of a tempo, a dynamic or words; nothing for other signs."""
    what, text = mei.kind(element), mei.text_of(element)
    if what == "tempo":
        mark = _tempo_of(element)
        return [_direction(_words(text), None)] if mark is None else [tempo_direction(mark)]
    if what == "dynam" and text in _DYNAMICS:
        inside = ET.Element("dynamics")
        ET.SubElement(inside, text)
        return [_direction(inside, None)]
    if what == "dir" and text:
        return [_direction(_words(text), None)]
    return []


def _tempo_of(element: Element) -> TempoMark | None:
    return tempo_mark(element, Fraction(0))


def tempo_direction(mark: TempoMark) -> Element:
    """A metronome mark, with the sounding tempo in quarters a minute."""
    dotted = mark.beat_unit_beats / 1.5 in _UNITS
    unit = _UNITS.get(mark.beat_unit_beats / 1.5 if dotted else mark.beat_unit_beats)
    beats = mark.beat_unit_beats if unit else 1.0
    metronome = ET.Element("metronome")
    ET.SubElement(metronome, "beat-unit").text = unit or "quarter"
    if unit and dotted:
        ET.SubElement(metronome, "beat-unit-dot")
    ET.SubElement(metronome, "per-minute").text = f"{mark.bpm / beats:.10g}"
    made = _direction(metronome, {"tempo": f"{mark.bpm:.10g}"})
    made.set("placement", "above")
    return made


def _words(text: str) -> Element:
    words = ET.Element("words")
    words.text = text
    return words


def _direction(inside: Element, sound: dict[str, str] | None) -> Element:
    made = ET.Element("direction")
    ET.SubElement(made, "direction-type").append(inside)
    if sound is not None:
        ET.SubElement(made, "sound", sound)
    return made


def jump_directions(bar: WrittenBar, *, at_start: bool) -> list[Element]:
    """Segno and coda before the notes of a bar; D.C., D.S., Fine and "to coda" after them."""
    if at_start:
        signs = [s for s in _AT_START if s in bar.marks]
        return [_direction(ET.Element(s), {s: s}) for s in signs]
    ends = [_AT_END[s] for s in _AT_END if s in bar.marks]
    return [_direction(_words(text), sound) for text, sound in ends]
