"""MusicXML made ready for verovio: one division throughout, an id on every note, no surprises.

- Each part's `divisions` are brought to one common value, so that lengths stay exact whole numbers.
- Notes without an id (or with one used twice) get one, the same at every reading.
- Entities are refused: they can grow without bound ("billion laughs").
"""

import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from coldtake.errors import PassageError
from coldtake.music import page_limits
from coldtake.music.mei import Element
from coldtake.music.notation.reading.harmony import symbol_of

_NAME = re.compile(r"^[A-Za-z_][\w.\-]*$")
_MOST_DIVISIONS = 1_000_000
HARMONY_SIGN = "§"
_CHORD_PARTS = frozenset(["root", "numeral", "function", "kind", "inversion", "bass", "degree"])


@dataclass(frozen=True, slots=True)
class Prepared:
    """The rewritten score.

    tie_stops : ids of the notes that end a tie
    bar_beats : what each measure holds [quarter notes], 0 where only whole-bar rests stand
    symbols : chord symbols; the text names them by number, between `HARMONY_SIGN`s
    tie_starts : ids of the notes that begin a tie
    alters : semitones by which each pitched note is altered, as the file states them
    """

    root: Element
    tie_stops: frozenset[str]
    bar_beats: tuple[Fraction, ...]
    symbols: tuple[str, ...] = ()
    tie_starts: frozenset[str] = frozenset()
    alters: Mapping[str, Fraction] = field(default_factory=dict)

    @property
    def text(self) -> str:
        """The score as MusicXML."""
        return ET.tostring(self.root, encoding="unicode")


def parsed(text: str, what: str) -> Element:
    """Root of an XML text; raises PassageError with line and column."""
    if re.search(r"<!ENTITY", text):
        raise PassageError(
            "the file defines XML entities, which are not accepted.",
            where="DOCTYPE",
            remedy="Export it again as plain MusicXML or MEI.",
        )
    try:
        root = ET.fromstring(text)
    except (ET.ParseError, ValueError, RecursionError) as error:
        line, column = getattr(error, "position", (1, 0))
        reason = str(error).partition(":")[0] or "not well-formed"
        raise PassageError(
            f"the {what} is broken: {reason}.",
            where=f"line {line}, character {column + 1}",
            remedy="Export the file again; if it was edited by hand, look at that place.",
        ) from error
    page_limits.check_depth(root, what)
    return root


def prepare(text: str) -> Prepared:
    """MusicXML text ready for verovio; raises PassageError."""
    root = parsed(text, "MusicXML")
    if root.tag not in ("score-partwise", "score-timewise"):
        raise PassageError(
            f"this is XML, but not MusicXML: it begins with <{root.tag[:40]}>.",
            where="line 1",
            remedy="Export it as MusicXML (score-partwise).",
        )
    if root.find("part") is None and root.find("measure") is None:
        raise PassageError("there is no part in it.", remedy="Export it again with its notes.")
    if root.tag == "score-timewise":
        _by_part(root)
    page_limits.check_measures(root.iter("measure"))
    for part in root.iter("part"):
        _one_division(part)
    _settle_ids(root)
    stops, starts = _tied(root, "stop"), _tied(root, "start")
    return Prepared(root, stops, _bar_beats(root), _number_harmonies(root), starts, _alters(root))


def _alters(root: Element) -> dict[str, Fraction]:
    """Every pitch says its own alteration (MusicXML 4.0, `alter`): none means natural."""
    found: dict[str, Fraction] = {}
    for note in root.iter("note"):
        pitch = note.find("pitch")
        if pitch is not None:
            found[note.get("id", "")] = _number(pitch.findtext("alter"))
    return found


def _number(text: str | None) -> Fraction:
    try:
        return Fraction((text or "0").strip() or "0")
    except (ValueError, ZeroDivisionError):
        return Fraction(0)


def _number_harmonies(root: Element) -> tuple[str, ...]:
    """Use every chord symbol a number as its text: verovio loses kinds, degrees and "N.C."."""
    symbols: list[str] = []
    for harmony in root.iter("harmony"):
        symbol = symbol_of(harmony)
        if not symbol:
            continue
        for element in [e for e in harmony if e.tag in _CHORD_PARTS]:
            harmony.remove(element)
        step = ET.Element("root")
        ET.SubElement(step, "root-step").text = "C"
        kind = ET.Element("kind", text=f"{HARMONY_SIGN}{len(symbols)}{HARMONY_SIGN}")
        kind.text = "major"
        harmony[:0] = [step, kind]
        symbols.append(symbol)
    return tuple(symbols)


def _bar_beats(root: Element) -> tuple[Fraction, ...]:
    """Length of every measure: the longest of its parts."""
    found: dict[int, Fraction] = {}
    divisions: dict[str, int] = {}
    inside = [(i, p.get("id", ""), m) for p in root.iter("part") for i, m in enumerate(p)]
    for index, part, content in inside:
        stated = content.find("attributes/divisions")
        if stated is not None:
            divisions[part] = _divisions(stated)
        held = _held(content) / divisions.get(part, 1)
        found[index] = max(found.get(index, Fraction(0)), held)
    return tuple(found[i] for i in sorted(found))


def _held(measure: Element) -> Fraction:
    """Where the last note or rest ends, in divisions; whole-bar rests say nothing."""
    at = most = Fraction(0)
    for element in measure:
        length = _duration(element)
        if element.tag == "backup":
            at = max(at - length, Fraction(0))
        elif element.tag == "forward":
            at += length
        elif element.tag == "note" and element.find("chord") is None:
            at += length
            rest = element.find("rest")
            if rest is None or rest.get("measure") != "yes":
                most = max(most, at)
    return most


def _duration(element: Element) -> Fraction:
    try:
        return max(Fraction(element.findtext("duration", "0").strip() or "0"), Fraction(0))
    except (ValueError, ZeroDivisionError):
        return Fraction(0)


def _by_part(root: Element) -> None:
    """Turn measures of parts into parts of measures: verovio reads only those."""
    parts: dict[str, Element] = {}
    for measure in root.findall("measure"):
        root.remove(measure)
        for content in measure.findall("part"):
            name = content.get("id", "")
            part = parts.setdefault(name, ET.Element("part", {"id": name}))
            own = ET.SubElement(part, "measure", measure.attrib)
            own.extend(content)
    root.extend(parts.values())
    root.tag = "score-partwise"


def _one_division(part: Element) -> None:
    """Scale every duration of a part to the least common multiple of its divisions."""
    values = {_divisions(e) for e in part.iter("divisions")}
    common = math.lcm(*values) if values else 1
    if len(values) < 2 or common > _MOST_DIVISIONS:
        return
    factor = 1
    for element in part.iter():
        if element.tag == "divisions":
            factor = common // _divisions(element)
            element.text = str(common)
        elif element.tag in ("duration", "offset") and element.text:
            element.text = _scaled(element.text, factor)


def _divisions(element: Element) -> int:
    text = (element.text or "").strip()
    value = int(text) if text.isdigit() else 0
    if value < 1:
        raise PassageError(
            f"“{text[:20]}” is no number of divisions.",
            where="<divisions>",
            remedy="Export the file again.",
        )
    return value


def _scaled(text: str, factor: int) -> str:
    try:
        return f"{float(text) * factor:.10g}"
    except ValueError:
        return text


def _settle_ids(root: Element) -> None:
    taken = {e.get("id", "") for e in root.iter() if e.tag != "note" and e.get("id")}
    count = 0
    for note in root.iter("note"):
        own = note.get("id", "")
        if own in taken or not _NAME.match(own):
            count += 1
            while f"n{count}" in taken:
                count += 1
            note.set("id", f"n{count}")
        taken.add(note.get("id", ""))


def _tied(root: Element, kind: str) -> frozenset[str]:
    """Ids of the notes at which a tie starts or stops."""
    return frozenset(
        note.get("id", "")
        for note in root.iter("note")
        if any(e.get("type") == kind for e in (*note.findall("tie"), *note.iter("tied")))
    )
