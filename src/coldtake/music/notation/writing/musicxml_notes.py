"""The events of one voice in one bar as MusicXML notes and rests."""

import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise

from coldtake.music import mei
from coldtake.music.mei import Element
from coldtake.music.notation.reading.bar_notes import BarContent, LayerWalk, WrittenNote
from coldtake.music.notation.reading.written_bars import StaffState, WrittenBar
from coldtake.music.notation.writing.musicxml_signs import Signs

_TYPES = {
    "maxima": "maxima",
    "long": "long",
    "breve": "breve",
    "1": "whole",
    "2": "half",
    "4": "quarter",
    "8": "eighth",
} | {str(n): f"{n}{'nd' if n == 32 else 'th'}" for n in (16, 32, 64, 128, 256, 512, 1024)}
_QUARTERS = {"maxima": 32, "long": 16, "breve": 8}
_ACCIDENTALS = {"n": "natural", "s": "sharp", "f": "flat", "ss": "double-sharp"}
_ACCIDENTALS |= {"x": "double-sharp", "ff": "flat-flat", "nf": "natural-flat"}
_ACCIDENTALS |= {"ns": "natural-sharp", "ts": "triple-sharp", "tf": "triple-flat"}
_MARKS = {"stacc": "staccato", "ten": "tenuto", "acc": "accent", "marc": "strong-accent"}
_MARKS |= {"stacciss": "staccatissimo", "spicc": "spiccato"}
_SYLLABIC = {"i": "begin", "m": "middle", "t": "end"}
_MOST_RATIO = 64  # of a tuplet


@dataclass(slots=True)
class MusicXmlEvent:
    """A chord, note, rest or new clef at a place of its bar [quarter notes].

    notes : () for a rest; whole : rests all bar; hidden : a rest that is not drawn
    """

    at: Fraction
    length: Fraction = Fraction(0)
    element: Element | None = None
    notes: tuple[WrittenNote, ...] = ()
    grace: bool = False
    whole: bool = False
    hidden: bool = False
    clef: Element | None = None
    beam: str = ""
    tuplets: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class MusicXmlVoice:
    """Where notes go. number: voice; staff: 0 where a part has one staff; signs: of the page."""

    number: int
    staff: int
    divisions: int
    signs: Signs


class Sink(LayerWalk):
    """Walks one layer as the reader does and keeps every event with its place and length."""

    def __init__(
        self,
        bar: WrittenBar,
        staff: int,
        layer: Element,
        content: BarContent,
        before: BarContent | None,
        spans: dict[str, Fraction],
        gestural: bool,
    ) -> None:
        state = bar.staves.get(staff, StaffState())
        super().__init__(bar, state, staff, mei.whole(layer.get("n"), 1), spans, gestural)
        self.before = before
        self._content = content
        self._source = layer
        self.found: list[MusicXmlEvent] = []

    def events(self) -> list[MusicXmlEvent]:
        """Every event in order."""
        self.run(self._source)
        return self.found

    def _event(self, element: Element, factor: Fraction, grace: bool) -> None:
        what = mei.kind(element)
        start = self.at
        if what == "clef":
            self.found.append(MusicXmlEvent(start, clef=element))
        elif what in ("rest", "space", "mRest", "mSpace", "multiRest"):
            super()._event(element, factor, grace)
            whole = what in ("mRest", "mSpace")
            if whole and start == 0:
                self.at = self._content.length
            rest = MusicXmlEvent(start, self.at - start, element, whole=whole)
            rest.hidden = what in ("space", "mSpace")
            self.found.append(rest)
        elif what == "mRpt":
            self._written_out(element, factor, grace)
        else:
            super()._event(element, factor, grace)

    def _written_out(self, element: Element, factor: Fraction, grace: bool) -> None:
        """A bar-repeat sign as the notes that it stands for."""
        count, start = len(self.notes), self.at
        super()._event(element, factor, grace)
        chords: dict[Fraction, list[WrittenNote]] = {}
        for note in self.notes[count:]:
            if not note.grace:
                chords.setdefault(note.onset, []).append(note)
        edges = [*sorted(chords), self.at]
        if not chords or edges[0] > start:
            self.found.append(MusicXmlEvent(start, edges[0] - start))
        for at, after in pairwise(edges):
            length = min(chords[at][0].length, after - at)
            self.found.append(MusicXmlEvent(at, length, notes=tuple(chords[at])))
            if after > at + length:
                self.found.append(MusicXmlEvent(at + length, after - at - length))

    def _sound(self, event: Element, heads: list[Element], factor: Fraction, grace: bool) -> None:
        count, start = len(self.notes), self.at
        super()._sound(event, heads, factor, grace)
        notes = tuple(self.notes[count:])
        grace = grace or event.get("grace") is not None
        if notes or self.at > start:
            self.found.append(MusicXmlEvent(start, self.at - start, event, notes, grace))

    def _group(self, element: Element, what: str, factor: Fraction, grace: bool) -> None:
        count = len(self.found)
        super()._group(element, what, factor, grace)
        inside = [e for e in self.found[count:] if e.clef is None]
        if what == "tuplet" and inside:
            inside[0].tuplets.append("start")
            inside[-1].tuplets.append("stop")
        if what == "beam":
            _beamed([e for e in inside if e.notes])


def _beamed(events: Sequence[MusicXmlEvent]) -> None:
    """One beam over the full notes, or over grace notes where there are only such."""
    full = [e for e in events if not e.grace] or events
    if len(full) > 1:
        for event in full:
            event.beam = "continue"
        full[0].beam, full[-1].beam = "begin", "end"


def note_element(event: MusicXmlEvent, voice: MusicXmlVoice) -> list[Element]:
    """The <note> elements of one event: as many as it has noteheads, one for a rest."""
    if not event.notes:
        return [_rest(event, voice)] if event.length > 0 else []
    return [_note(event, note, i, voice) for i, note in enumerate(event.notes)]


def _rest(event: MusicXmlEvent, voice: MusicXmlVoice) -> Element:
    made = ET.Element("note")
    if event.hidden:
        made.set("print-object", "no")
    rest = ET.SubElement(made, "rest")
    if event.whole:
        rest.set("measure", "yes")
    _sub(made, "duration", round(event.length * voice.divisions))
    _sub(made, "voice", voice.number)
    if not event.whole:
        _value(made, event)
        _ratio(made, event)
    if voice.staff:
        _sub(made, "staff", voice.staff)
    _brackets(ET.SubElement(made, "notations"), event)
    if not len(made[-1]):
        made.remove(made[-1])
    return made


def _note(event: MusicXmlEvent, note: WrittenNote, place: int, voice: MusicXmlVoice) -> Element:
    made = ET.Element("note", id=note.id)
    if event.grace:
        grace = ET.SubElement(made, "grace")
        if event.element is not None and event.element.get("grace") == "unacc":
            grace.set("slash", "yes")
    if place > 0:
        ET.SubElement(made, "chord")
    _pitch(made, note)
    if not event.grace:
        _sub(made, "duration", round(event.length * voice.divisions))
    for kind in voice.signs.ties_of(note.id):
        ET.SubElement(made, "tie", type=kind)
    _sub(made, "voice", voice.number)
    _value(made, event)
    _accidental(made, _head(event, note.id))
    _ratio(made, event)
    if voice.staff:
        _sub(made, "staff", voice.staff)
    if event.beam and place == 0:
        _sub(made, "beam", event.beam).set("number", "1")
    _notations(made, event, note.id, place, voice.signs)
    if place == 0 and event.element is not None:
        _lyrics(made, event.element)
    return made


def _sub(parent: Element, name: str, text: object) -> Element:
    made = ET.SubElement(parent, name)
    made.text = str(text)
    return made


def _pitch(made: Element, note: WrittenNote) -> None:
    letter, sign = note.name[0], note.name.count("♯") - note.name.count("♭")
    pitch = ET.SubElement(made, "pitch")
    _sub(pitch, "step", letter)
    if sign:
        _sub(pitch, "alter", sign)
    _sub(pitch, "octave", note.name.lstrip("ABCDEFG♯♭"))


def _nominal(event: MusicXmlEvent) -> Fraction | None:
    """Written value with its dots, before tuplets [quarters]."""
    if event.element is None:
        return None
    dur = event.element.get("dur", "")
    if dur not in _TYPES:
        return None
    value = Fraction(_QUARTERS[dur]) if dur in _QUARTERS else Fraction(4, int(dur))
    return value * (2 - Fraction(1, 2 ** _dots(event.element)))


def _dots(element: Element) -> int:
    return min(mei.whole(element.get("dots")), 4) or len(list(mei.all_of(element, "dot")))


def _value(made: Element, event: MusicXmlEvent) -> None:
    """Note value and dots, where they explain the length."""
    element = event.element
    if element is None or _nominal(event) is None or not _explained(event):
        return
    _sub(made, "type", _TYPES[element.get("dur", "")])
    for _ in range(_dots(element)):
        ET.SubElement(made, "dot")


def _share(event: MusicXmlEvent) -> Fraction:
    nominal = _nominal(event)
    return Fraction(1) if nominal is None or event.grace else event.length / nominal


def _explained(event: MusicXmlEvent) -> bool:
    share = _share(event)
    return max(share.numerator, share.denominator) <= _MOST_RATIO


def _ratio(made: Element, event: MusicXmlEvent) -> None:
    share = _share(event)
    if share == 1 or not _explained(event):
        return
    lasts = ET.SubElement(made, "time-modification")
    _sub(lasts, "actual-notes", share.denominator)
    _sub(lasts, "normal-notes", share.numerator)


def _head(event: MusicXmlEvent, name: str) -> Element | None:
    if event.element is None:
        return None
    heads = [e for e in event.element.iter() if mei.kind(e) == "note"]
    return next((h for h in heads if mei.xml_id(h) == name), None)


def _accidental(made: Element, head: Element | None) -> None:
    if head is None:
        return
    inside = mei.child(head, "accid")
    shown = head.get("accid") or (inside.get("accid") if inside is not None else None)
    if shown in _ACCIDENTALS:
        _sub(made, "accidental", _ACCIDENTALS[shown])


def _notations(made: Element, event: MusicXmlEvent, name: str, place: int, signs: Signs) -> None:
    notations = ET.SubElement(made, "notations")
    for kind in signs.ties_of(name):
        ET.SubElement(notations, "tied", type=kind)
    own = mei.xml_id(event.element) if event.element is not None else ""
    names = (name,) if own == name or place else (name, own)
    for kind, number in (s for n in names for s in signs.slurs.get(n, ())):
        ET.SubElement(notations, "slur", type=kind, number=str(number))
    if place == 0:
        _brackets(notations, event)
        marks = _articulations(event.element)
        if marks:
            box = ET.SubElement(notations, "articulations")
            for mark in marks:
                ET.SubElement(box, mark)
        if any(n in signs.fermatas for n in names):
            ET.SubElement(notations, "fermata")
    if not len(notations):
        made.remove(notations)


def _brackets(notations: Element, event: MusicXmlEvent) -> None:
    for number, kind in enumerate(event.tuplets, start=1):
        ET.SubElement(notations, "tuplet", type=kind, number=str(min(number, 6)))


def _articulations(element: Element | None) -> list[str]:
    if element is None:
        return []
    words = element.get("artic", "").split()
    words += [w for a in mei.all_of(element, "artic") for w in a.get("artic", "").split()]
    return list(dict.fromkeys(_MARKS[w] for w in words if w in _MARKS))


def _lyrics(made: Element, element: Element) -> None:
    for verse in mei.all_of(element, "verse"):
        syllable = mei.child(verse, "syl")
        if syllable is not None and mei.text_of(syllable):
            lyric = ET.SubElement(made, "lyric", number=verse.get("n", "1"))
            _sub(lyric, "syllabic", _SYLLABIC.get(syllable.get("wordpos", ""), "single"))
            _sub(lyric, "text", mei.text_of(syllable))
