"""A passage as MusicXML 4.0 and as MEI: for archives and for other programs.

The page is written, with its repeats, where its signs alone say the order of playing; where the
order is stated otherwise (some bars chosen out of a piece), the bars are written as played. Notes,
rests, lengths, ties, slurs, beams, tuplets, articulations, dynamics, words under notes, chord
symbols, tempi, clefs, keys, metres, repeats and jumps are kept; other drawing (line breaks,
hairpins, ornaments) is not. An octave line is left out: its notes stand where they sound.
Every note keeps its id, so that evidence still points at it.
"""

import math
import xml.etree.ElementTree as ET
from fractions import Fraction

from coldtake.errors import PassageError
from coldtake.music import mei
from coldtake.music.mei import Element
from coldtake.music.notation.reading import page_text, unfold
from coldtake.music.notation.reading.harmony import harmony_element
from coldtake.music.notation.reading.parts import Part, parts
from coldtake.music.notation.reading.score import Score
from coldtake.music.notation.reading.written_bars import StaffState, WrittenBar
from coldtake.music.notation.writing.musicxml_notes import MusicXmlVoice, Sink, note_element
from coldtake.music.notation.writing.musicxml_signs import (
    Signs,
    clef_element,
    directions,
    jump_directions,
    tempo_direction,
)
from coldtake.music.passage import Passage

_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">\n'
)
_LAYERS = 4  # voices kept for each staff: voice numbers are staff by staff


def as_mei(passage: Passage) -> str:
    """The notation as an MEI document; reads back as the same passage."""
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + passage.mei


def as_musicxml(passage: Passage) -> str:
    """The passage as a MusicXML 4.0 document (score-partwise)."""
    return _HEAD + ET.tostring(_Writer(passage).root(), encoding="unicode")


class _Writer:
    """One passage on its way."""

    def __init__(self, passage: Passage) -> None:
        self.passage = passage
        self.score = Score(passage.mei)
        plain = unfold.Unfolding(self.score.bars)
        self.as_page = _quiet_order(plain) == self.score.order
        self.order = list(range(len(self.score.bars))) if self.as_page else self.score.order
        self.signs = Signs.of(self.score, passage)
        self.clefs = _clefs(self.score.score)
        self.divisions = _divisions(self.score)

    def root(self) -> Element:
        root = ET.Element("score-partwise", version="4.0")
        if self.passage.title:
            work = ET.SubElement(root, "work")
            ET.SubElement(work, "work-title").text = self.passage.title
        names = ET.SubElement(root, "part-list")
        for number, part in enumerate(parts(self.passage), start=1):
            name = ET.SubElement(names, "score-part", id=f"P{number}")
            ET.SubElement(name, "part-name").text = part.name
            body = ET.SubElement(root, "part", id=f"P{number}")
            self._part(body, part, lead=number == 1)
        return root

    def _part(self, body: Element, part: Part, *, lead: bool) -> None:
        before: dict[int, StaffState] = {}
        for place, index in enumerate(self.order):
            bar = self.score.bars[index]
            measure = ET.SubElement(body, "measure", number=bar.label)
            if bar.element.get("metcon") == "false" or bar.label == "0":
                measure.set("implicit", "yes")
            if self.as_page:
                self._barline(measure, index, "left")
            first = place == 0
            self._attributes(measure, part, bar, before, first=first)
            if lead:
                self._lead(measure, index, opening=first)
            self._voices(measure, part, index)
            if self.as_page:
                if lead:
                    measure.extend(jump_directions(bar, at_start=False))
                self._barline(measure, index, "right")

    def _lead(self, measure: Element, index: int, *, opening: bool) -> None:
        """What is said once for all parts, at the top."""
        if self.as_page:
            measure.extend(jump_directions(self.score.bars[index], at_start=True))
        if opening and self.passage.tempi and self.passage.tempi[0].onset_beats == 0:
            own = self.score.bars[index].element
            if next(mei.all_of(own, "tempo"), None) is None:
                measure.append(tempo_direction(self.passage.tempi[0]))

    def _attributes(
        self,
        measure: Element,
        part: Part,
        bar: WrittenBar,
        before: dict[int, StaffState],
        *,
        first: bool,
    ) -> None:
        made = ET.Element("attributes")
        if first:
            ET.SubElement(made, "divisions").text = str(self.divisions)
        lead = part.staves[0]
        now, old = bar.staves.get(lead, StaffState()), before.get(lead)
        for staff in part.staves:
            self._key(made, part, staff, bar, before)
        if old is None or now.metre != old.metre:
            time = ET.SubElement(made, "time")
            ET.SubElement(time, "beats").text = str(now.metre[0])
            ET.SubElement(time, "beat-type").text = str(now.metre[1])
        if first and len(part.staves) > 1:
            ET.SubElement(made, "staves").text = str(len(part.staves))
        for number, staff in enumerate(part.staves, start=1):
            clef = self.clefs.get((mei.xml_id(bar.element), staff))
            clef = clef if clef is not None or not first else self.clefs.get(("", staff))
            if clef is not None:
                made.append(clef_element(clef, number))
        if now.semitones != (old.semitones if old else 0):
            transpose = ET.SubElement(made, "transpose")
            ET.SubElement(transpose, "chromatic").text = str(now.semitones)
        for staff in part.staves:
            before[staff] = bar.staves.get(staff, StaffState())
        if len(made):
            measure.append(made)

    @staticmethod
    def _key(
        made: Element,
        part: Part,
        staff: int,
        bar: WrittenBar,
        before: dict[int, StaffState],
    ) -> None:
        now, old = bar.staves.get(staff, StaffState()), before.get(staff)
        if old is not None and old.fifths == now.fifths:
            return
        key = ET.SubElement(made, "key")
        if len(part.staves) > 1:
            key.set("number", str(part.staves.index(staff) + 1))
        ET.SubElement(key, "fifths").text = str(now.fifths)

    def _voices(self, measure: Element, part: Part, index: int) -> None:
        """Every layer of every staff of a part, each going back to the start of the bar."""
        bar = self.score.bars[index]
        back = Fraction(0)
        loose = self._loose(part, index)
        for staff in bar.element:
            n = mei.whole(staff.get("n"), 1)
            if mei.kind(staff) != "staff" or n not in part.staves:
                continue
            number = part.staves.index(n)
            for layer in (e for e in staff if mei.kind(e) == "layer"):
                if back > 0:
                    _move(measure, "backup", back, self.divisions)
                sink = self._sink(bar, n, layer, index)
                voice = MusicXmlVoice(
                    number * _LAYERS + mei.whole(layer.get("n"), 1),
                    number + 1 if len(part.staves) > 1 else 0,
                    self.divisions,
                    self.signs,
                )
                back = self._layer(measure, sink, voice, loose)
                loose = []
        measure.extend(e for _, e in loose)

    def _sink(self, bar: WrittenBar, staff: int, layer: Element, index: int) -> Sink:
        contents = self.score.contents
        before = contents[index - 1] if index else None
        return Sink(
            bar, staff, layer, contents[index], before, self.score.spans, self.score.gestural
        )

    def _loose(self, part: Part, index: int) -> list[tuple[Fraction, Element]]:
        """Chord symbols, tempi, dynamics and words of a part's staves by their place."""
        bar, content = self.score.bars[index], self.score.contents[index]
        found: list[tuple[Fraction, Element]] = []
        for element in bar.element:
            if mei.whole(element.get("staff", "1").split()[0], 1) not in part.staves:
                continue
            at = page_text.place(bar, content, element)
            made = directions(element)
            if mei.kind(element) == "harm":
                made = [harmony_element(mei.text_of(element))]
            found += [(at, e) for e in made if e is not None]
        return sorted(found, key=lambda pair: pair[0])

    def _layer(
        self,
        measure: Element,
        sink: Sink,
        voice: MusicXmlVoice,
        loose: list[tuple[Fraction, Element]],
    ) -> Fraction:
        """One voice; what stands at a place comes before the first note there."""
        waiting = list(loose)
        for event in sink.events():
            while waiting and waiting[0][0] < event.at + event.length:
                at, element = waiting.pop(0)
                _offset(element, at - event.at, self.divisions)
                measure.append(element)
            if event.clef is not None:
                inside = ET.SubElement(measure, "attributes")
                inside.append(clef_element(event.clef, max(voice.staff, 1)))
            else:
                measure.extend(note_element(event, voice))
        for at, element in waiting:
            _offset(element, at - sink.at, self.divisions)
            measure.append(element)
        return sink.at

    def _barline(self, measure: Element, index: int, side: str) -> None:
        """Repeat signs, endings and double bars on one side."""
        bar = self.score.bars[index]
        left = side == "left"
        made = ET.Element("barline", location=side)
        if not left and bar.element.get("right") in ("dbl", "end"):
            style = "light-light" if bar.element.get("right") == "dbl" else "light-heavy"
            ET.SubElement(made, "bar-style").text = style
        beside = index - 1 if left else index + 1
        bars = self.score.bars
        other = bars[beside] if 0 <= beside < len(bars) else None
        if bar.ending and not _same_ending(bar, other):
            numbers = ", ".join(str(n) for n in bar.ending)
            ET.SubElement(made, "ending", number=numbers, type="start" if left else "stop")
        if bar.opens_repeat if left else bar.closes_repeat:
            ET.SubElement(made, "repeat", direction="forward" if left else "backward")
        if len(made):
            measure.append(made)


def _quiet_order(plain: unfold.Unfolding) -> list[int]:
    """The order that the signs say, or none where they lead nowhere."""
    try:
        return plain.run()
    except PassageError:
        return []


def _same_ending(bar: WrittenBar, other: WrittenBar | None) -> bool:
    return other is not None and other.ending == bar.ending and other.sections == bar.sections


def _divisions(score: Score) -> int:
    """Least common division of every onset and length, quarters; at most 16383 (MusicXML 4.0)."""
    lengths = {x for c in score.contents for n in c.notes for x in (n.onset, n.length)}
    lengths |= {c.length for c in score.contents}
    common = math.lcm(4, *(x.denominator for x in lengths))
    return common if common <= 16_383 else 10_080


def _clefs(score: Element) -> dict[tuple[str, int], Element]:
    """Clefs by (measure, staff); "" is the opening."""
    found: dict[tuple[str, int], Element] = {}
    waiting: dict[int, Element] = {}
    opened = False
    for element in score.iter():
        what = mei.kind(element)
        if what == "staffDef":
            own = mei.child(element, "clef")
            clef = own if own is not None else element if element.get("clef.shape") else None
            if clef is not None:
                waiting[mei.whole(element.get("n"), 1)] = clef
        elif what == "measure":
            name = mei.xml_id(element) if opened else ""
            found |= {(name, staff): clef for staff, clef in waiting.items()}
            waiting, opened = {}, True
    return found


def _move(measure: Element, name: str, length: Fraction, divisions: int) -> None:
    moved = ET.SubElement(measure, name)
    ET.SubElement(moved, "duration").text = str(round(length * divisions))


def _offset(element: Element, beats: Fraction, divisions: int) -> None:
    """Say how far from the note it stands [divisions]; it goes before <staff> and <sound>."""
    if beats == 0:
        return
    offset = ET.Element("offset")
    offset.text = str(round(beats * divisions))
    place = next(
        (i for i, e in enumerate(element) if e.tag in ("staff", "sound", "voice")), len(element)
    )
    element.insert(place, offset)
