"""Chord symbols in MusicXML: `harmony` elements to a symbol and back.

Kinds and degrees are those of MusicXML 4.0 (W3C Music Notation Community Group, 2021). A kind's own
text is kept where it can be read as a chord symbol; otherwise a usual spelling of the kind stands
for it. Degrees that the file hides (`print-object="no"`) are part of that text already.
"""

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator

from coldtake.errors import PassageError
from coldtake.music.mei import Element
from coldtake.music.theory.chords import Chord, read_chord
from coldtake.music.theory.tones import Tone

# A usual spelling of each kind, as `chords.read_chord` reads it.
SUFFIXES = {
    "major": "",
    "minor": "m",
    "augmented": "+",
    "diminished": "dim",
    "dominant": "7",
    "major-seventh": "maj7",
    "minor-seventh": "m7",
    "diminished-seventh": "dim7",
    "augmented-seventh": "+7",
    "half-diminished": "m7b5",
    "major-minor": "mmaj7",
    "major-sixth": "6",
    "minor-sixth": "m6",
    "dominant-ninth": "9",
    "major-ninth": "maj9",
    "minor-ninth": "m9",
    "dominant-11th": "11",
    "major-11th": "maj11",
    "minor-11th": "m11",
    "dominant-13th": "13",
    "major-13th": "maj13",
    "minor-13th": "m13",
    "suspended-second": "sus2",
    "suspended-fourth": "sus4",
    "Neapolitan": "Neapolitan",
    "Italian": "Italian",
    "French": "French",
    "German": "German",
    "pedal": "ped",
    "power": "5",
    "Tristan": "Tristan",
}
NO_CHORD = "N.C."
_SIGNS = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}
_DEGREE = re.compile(r"(add|omit|no|sus)?([#♯b♭+\-]*)(\d+)")


def symbol_of(harmony: Element) -> str:
    """The chord symbol of a `harmony` element, or "" where it names no chord by a root."""
    groups = list(_groups(harmony))
    symbols = [s for s in (_symbol(group) for group in groups) if s]
    return "|".join(symbols)


def _groups(harmony: Element) -> Iterator[list[Element]]:
    """Each root (numeral, function) with what belongs to it; stacked chords have several."""
    group: list[Element] = []
    for element in harmony:
        if element.tag in ("root", "numeral", "function") and group:
            yield group
            group = []
        if element.tag in ("root", "numeral", "function", "kind", "bass", "degree"):
            group.append(element)
    if group:
        yield group


def _symbol(group: list[Element]) -> str:
    parts = {e.tag: e for e in group}
    kind = parts.get("kind")
    name = (kind.text or "").strip() if kind is not None else "major"
    if name == "none":
        return NO_CHORD
    root = parts.get("root")
    if root is None:
        return ""
    start = _tone(root, "root")
    shown = [e for e in group if e.tag == "degree" and e.get("print-object") != "no"]
    bass = f"/{_tone(parts['bass'], 'bass')}" if "bass" in parts else ""
    text = kind.get("text") if kind is not None else None
    degrees = "".join(_degree(e) for e in shown)
    own = f"{start}{(text or '').strip()}{degrees}{bass}"
    if text and _readable(own):
        return own
    hidden = "".join(_degree(e) for e in group if e.tag == "degree")
    return f"{start}{SUFFIXES.get(name, text or '')}{hidden}{bass}"


def _readable(symbol: str) -> bool:
    try:
        read_chord(symbol)
    except PassageError:
        return False
    return True


def _tone(element: Element, name: str) -> str:
    letter = (element.findtext(f"{name}-step") or "C").strip()
    return letter + _SIGNS.get(_whole(element.findtext(f"{name}-alter")), "")


def _whole(text: str | None) -> int:
    try:
        return round(float(text or 0))
    except ValueError:
        return 0


def _degree(element: Element) -> str:
    """One alteration as on a lead sheet: b9, #11, add9, no3."""
    value = _whole(element.findtext("degree-value"))
    sign = _SIGNS.get(_whole(element.findtext("degree-alter")), "")
    how = (element.findtext("degree-type") or "").strip()
    if how == "subtract":
        return f"no{value}"
    if how == "add" and (not sign or value <= 7):
        return f"add{sign}{value}"
    return f"({sign}{value})" if sign else f"add{value}"


def harmony_element(symbol: str) -> Element:
    """A `harmony` element of a chord symbol; one that cannot be read keeps its text only."""
    made = ET.Element("harmony")
    try:
        chord = read_chord(symbol.replace("♭", "b").replace("♯", "#"))
    except PassageError:
        ET.SubElement(made, "function").text = symbol
        ET.SubElement(made, "kind", text="").text = "other"
        return made
    if chord.below is not None:
        made.set("arrangement", "vertical")
    part: Chord | None = chord
    while part is not None:
        _add_chord(made, part)
        part = part.below
    return made


def _add_chord(made: Element, chord: Chord) -> None:
    root = ET.SubElement(made, "root")
    if chord.root is None:
        ET.SubElement(root, "root-step", text="").text = "C"
        ET.SubElement(made, "kind", text=NO_CHORD).text = "none"
        return
    _spell(root, "root", chord.root)
    ET.SubElement(made, "kind", text=chord.suffix).text = chord.kind
    if chord.bass is not None:
        _spell(ET.SubElement(made, "bass"), "bass", chord.bass)
    for word in chord.changed:
        _add_degree(made, word)


def _spell(element: Element, name: str, tone: Tone) -> None:
    ET.SubElement(element, f"{name}-step").text = tone.letter
    if tone.alter:
        ET.SubElement(element, f"{name}-alter").text = str(tone.alter)


def _add_degree(made: Element, word: str) -> None:
    found = _DEGREE.fullmatch(word)
    if found is None:
        return
    signs = found[2].replace("♯", "#").replace("♭", "b").replace("+", "#").replace("-", "b")
    degree = ET.SubElement(made, "degree", {"print-object": "no"})
    ET.SubElement(degree, "degree-value").text = found[3]
    ET.SubElement(degree, "degree-alter").text = str(signs.count("#") - signs.count("b"))
    how = "subtract" if found[1] in ("omit", "no") else "alter" if int(found[3]) == 5 else "add"
    ET.SubElement(degree, "degree-type").text = how
