"""The notes of one written bar: onset and length in exact quarter notes from the barline.

Lengths come from the divisions of a MusicXML file where it had any (`dur.ppq`), otherwise from
note value, dots and tuplets. Unpitched notes and cue notes are left out; a tremolo is one note.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from coldtake.errors import PassageError
from coldtake.music import mei
from coldtake.music.mei import Element
from coldtake.music.notation.reading.written_bars import StaffState, WrittenBar
from coldtake.music.theory import spelling

OCTAVES = range(-1, 11)  # of MIDI numbers 0 to 127
_LONG = {"breve": Fraction(8), "long": Fraction(16), "maxima": Fraction(32)}
_INSIDE = (
    *("beam", "graceGrp", "bTrem", "ligature", "supplied", "unclear", "add", "damage", "restore"),
    *("orig", "subst", "lem", "rdg", "corr", "reg", "expan", "sic", "abbr"),
)


@dataclass(frozen=True, slots=True)
class WrittenNote:
    """One notehead. onset, length: quarter notes; grace notes have length 0.

    tie : "i", "m", "t" when the note says so itself; event : number of its chord within the layer
    sounding : written pitch where octave lines are taken into account, before transposition
    """

    id: str
    onset: Fraction
    length: Fraction
    pitch: int
    written_pitch: int
    name: str
    staff: int
    layer: int
    grace: bool
    tie: str = ""
    event: int = 0
    sounding: int = 0


@dataclass(frozen=True, slots=True)
class BarContent:
    """All notes of one bar, layer by layer in writing order, and what the bar really holds."""

    notes: tuple[WrittenNote, ...]
    length: Fraction
    unpitched: int = 0


def content(
    bar: WrittenBar, before: BarContent | None, spans: dict[str, Fraction], gestural: bool
) -> BarContent:
    """Read one bar.

    before : the bar written before it, for bar-repeat signs
    spans : factor of tuplet spans by note id; gestural : the file states sounding accidentals
    """
    notes: list[WrittenNote] = []
    lengths: list[Fraction] = []
    unpitched = 0
    for staff in bar.element:
        if mei.kind(staff) != "staff":
            continue
        n = mei.whole(staff.get("n"), 1)
        state = bar.staves.get(n, StaffState())
        for layer in staff:
            if mei.kind(layer) == "layer":
                walk = LayerWalk(bar, state, n, mei.whole(layer.get("n"), 1), spans, gestural)
                walk.before = before
                walk.run(layer)
                notes += walk.notes
                unpitched += walk.unpitched
                lengths.append(Fraction(0) if walk.only_rests and not walk.notes else walk.at)
    full = max((s.bar_beats for s in bar.staves.values()), default=Fraction(4))
    held = mei.stated_beats(bar.element) or max(lengths, default=Fraction(0))
    return BarContent(tuple(notes), held if held > 0 else full, unpitched)


class LayerWalk:
    """One voice through one bar; `at` is where it has come to; only_rests: it waits all bar."""

    def __init__(
        self,
        bar: WrittenBar,
        state: StaffState,
        staff: int,
        layer: int,
        spans: dict[str, Fraction],
        gestural: bool,
    ) -> None:
        self.bar, self.state, self.staff, self.layer = bar, state, staff, layer
        self.spans, self.gestural = spans, gestural
        self.before: BarContent | None = None
        self.at = Fraction(0)
        self.only_rests = False
        self.notes: list[WrittenNote] = []
        self.unpitched = 0
        self._events = 0
        self._altered: dict[tuple[str, int], Fraction] = {}

    def run(self, parent: Element, factor: Fraction = Fraction(1), grace: bool = False) -> None:
        """Take every event inside, in order."""
        for element in parent:
            self._event(element, factor, grace)

    def _event(self, element: Element, factor: Fraction, grace: bool) -> None:
        what = mei.kind(element)
        if what in ("note", "chord"):
            heads = [e for e in element.iter() if mei.kind(e) == "note"]
            self._sound(element, heads, factor, grace)
        elif what in ("rest", "space"):
            self.at += self._length(element, factor)
        elif what in ("mRest", "mSpace", "multiRest"):
            self.only_rests = what != "multiRest"
            self.at += self.state.bar_beats * max(mei.whole(element.get("num"), 1), 1)
        elif what == "mRpt":
            self._repeat_bar(element)
        else:
            self._group(element, what, factor, grace)

    def _group(self, element: Element, what: str, factor: Fraction, grace: bool) -> None:
        if what == "tuplet":
            self.run(element, factor * _ratio(element), grace)
        elif what == "fTrem":
            self.run(element, factor / 2, grace)
        elif what in ("app", "choice"):
            self._chosen(element, factor, grace)
        elif what in _INSIDE:
            self.run(element, factor, grace or what == "graceGrp")

    def _chosen(self, element: Element, factor: Fraction, grace: bool) -> None:
        """The reading that an editor prefers, otherwise the first."""
        kinds = {mei.kind(e): e for e in reversed(list(element))}
        for what in ("lem", "corr", "reg", "expan", *kinds):
            if what in kinds:
                self.run(kinds[what], factor, grace)
                return

    def _repeat_bar(self, element: Element) -> None:
        """A bar-repeat sign sounds what this voice had in the bar before."""
        if self.before is None:
            raise PassageError(
                "a bar-repeat sign stands in the first bar.",
                where=f"bar {self.bar.label}",
                remedy="Write the first bar out.",
            )
        own = [n for n in self.before.notes if (n.staff, n.layer) == (self.staff, self.layer)]
        for index, n in enumerate(own):
            self.notes.append(_renamed(n, f"{mei.xml_id(element)}.{index + 1}"))
        self.at += self.before.length

    def _sound(self, event: Element, heads: list[Element], factor: Fraction, grace: bool) -> None:
        self._events += 1
        grace = grace or event.get("grace") is not None
        length = Fraction(0) if grace else self._length(event, factor)
        for head in heads:
            if event.get("cue") == "true" or head.get("cue") == "true":
                continue
            note = self._note(head, length, grace, event.get("tie", ""))
            if note is None:
                self.unpitched += 1
            else:
                self.notes.append(note)
        self.at += length

    def _note(
        self, head: Element, length: Fraction, grace: bool, chord_tie: str
    ) -> WrittenNote | None:
        step, octave_text = head.get("pname"), head.get("oct")
        if step not in spelling.STEPS or octave_text is None:
            return None
        octave = mei.whole(octave_text, 4)
        alter = self._alter(head, step, octave)
        sounding = mei.whole(head.get("oct.ges"), octave)
        # octave lines that never end are added up where a score is read
        if octave not in OCTAVES:
            octave = sounding
        elif sounding not in OCTAVES:
            sounding = octave
        if octave not in OCTAVES:
            raise PassageError(
                f"A note stands in octave {octave}; octaves are 0 to 9, and 4 begins at middle C.",
                where="notation",
                remedy="Correct that note in the program that wrote the file, and give it again.",
            )
        return WrittenNote(
            mei.xml_id(head),
            self.at,
            length,
            spelling.midi(step, sounding, alter) + self.state.semitones,
            spelling.midi(step, octave, alter),
            spelling.name(step, sounding, alter),
            mei.whole(head.get("staff"), self.staff),
            self.layer,
            grace,
            head.get("tie") or chord_tie,
            self._events,
            spelling.midi(step, sounding, alter),
        )

    def _alter(self, head: Element, step: str, octave: int) -> Fraction:
        signs = mei.child(head, "accid")
        written = head.get("accid") or (signs.get("accid") if signs is not None else None)
        ges = head.get("accid.ges") or (signs.get("accid.ges") if signs is not None else None)
        if written in spelling.ACCIDENTALS:
            self._altered[step, octave] = spelling.ACCIDENTALS[written]
        if ges in spelling.ACCIDENTALS:
            return spelling.ACCIDENTALS[ges]
        if written in spelling.ACCIDENTALS:
            return spelling.ACCIDENTALS[written]
        if self.gestural:
            return Fraction(0)
        return self._altered.get((step, octave), spelling.key_alter(step, self.state.fifths))

    def _length(self, event: Element, factor: Fraction) -> Fraction:
        """Sounding length of an event in quarter notes."""
        if event.get("grace") is not None:
            return Fraction(0)
        ppq = mei.whole(event.get("dur.ppq"))
        if ppq > 0 and self.state.divisions > 0:
            return Fraction(ppq, self.state.divisions)
        text = event.get("dur") or self.state.default_dur
        value = _LONG.get(text) or (
            Fraction(4, int(text)) if text.isdigit() and int(text) else None
        )
        if value is None:
            raise PassageError(
                "a note or rest has no length.",
                where=f"bar {self.bar.label}",
                remedy="Add a note value to every note and rest.",
            )
        dots = min(mei.whole(event.get("dots")), 8) or len(list(mei.all_of(event, "dot")))
        dotted = value * (2 - Fraction(1, 2**dots))
        return dotted * factor * self.spans.get(mei.xml_id(event), Fraction(1))


def _ratio(tuplet: Element) -> Fraction:
    """Sounding length of a tuplet's note per written length."""
    num, base = mei.whole(tuplet.get("num")), mei.whole(tuplet.get("numbase"))
    return Fraction(base, num) if num > 0 and base > 0 else Fraction(1)


def _renamed(note: WrittenNote, new_id: str) -> WrittenNote:
    return replace(note, id=new_id, tie="")


def tuplet_spans(bars: Iterator[Element]) -> dict[str, Fraction]:
    """Factor for every event under a `tupletSpan`, by id."""
    found: dict[str, Fraction] = {}
    for measure in bars:
        for span in mei.all_of(measure, "tupletSpan"):
            first, last = mei.ref(span, "startid"), mei.ref(span, "endid")
            for name in _between(measure, first, last):
                found[name] = found.get(name, Fraction(1)) * _ratio(span)
    return found


def _between(measure: Element, first: str, last: str) -> list[str]:
    """Ids of the events of one layer from `first` to `last`."""
    for layer in mei.all_of(measure, "layer"):
        names = [mei.xml_id(e) for e in layer.iter() if mei.kind(e) in ("note", "chord", "rest")]
        if first in names and last in names:
            return names[names.index(first) : names.index(last) + 1]
    return []
