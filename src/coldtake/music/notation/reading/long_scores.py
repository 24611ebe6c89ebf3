"""Long works in stretches: verovio's time grows with the square of the bars it reads at once.

Measured: 317 bars of four parts 0.4 s, 1268 bars 4.2 s. A score is therefore cut into stretches of
STRETCH bars, each opened with the signs in force there, and the pages are put together again. What
is lost at a cut: slurs and hairpins over it; ties are kept. The order of playing then follows from
the signs on the page, not from verovio.
"""

import copy
import xml.etree.ElementTree as ET
from collections.abc import Iterator, Sequence

from coldtake.music import mei
from coldtake.music.mei import Element

STRETCH = 150
LONG = 400  # bars, from which a score is cut
_SIGNS = ("key", "time", "clef", "transpose", "staves", "divisions", "staff-details")
_ORDER = ("divisions", "key", "time", "staves", "clef", "staff-details", "transpose")
_DRAWN = {"key": "keySig", "time": "meterSig", "clef": "clef"}


class Stretches:
    """A prepared score (partwise, ids set) as several; `new_signs` of each as it opens."""

    def __init__(self, root: Element) -> None:
        self.root = root
        self._parts = [list(p.findall("measure")) for p in root.findall("part")]
        bars = min((len(p) for p in self._parts), default=0)
        self.edges = _edges(self._parts[0], bars) if self._parts else [0]
        self.new_signs: list[list[set[str]]] = []

    def texts(self) -> Iterator[str]:
        """Each stretch as MusicXML, in order."""
        in_force: list[dict[tuple[str, str], Element]] = [{} for _ in self._parts]
        for low, high in zip(self.edges, self.edges[1:], strict=False):
            yield ET.tostring(self._stretch(low, high, in_force), encoding="unicode")

    def _stretch(
        self, low: int, high: int, in_force: list[dict[tuple[str, str], Element]]
    ) -> Element:
        made = copy.copy(self.root)
        made[:] = [e for e in self.root if e.tag != "part"]
        new: list[set[str]] = []
        for number, part in enumerate(self.root.findall("part")):
            body = ET.SubElement(made, "part", part.attrib)
            measures = self._parts[number][low : high if high < self.edges[-1] else None]
            own = {e.tag for e in _opening_signs(measures[0])} if measures else set()
            new.append(own)
            if measures and low:
                measures = [_opened(measures[0], in_force[number]), *measures[1:]]
            body.extend(measures)
            for measure in measures:
                _take(measure, in_force[number])
        self.new_signs.append(new)
        return made


def _edges(first_part: Sequence[Element], bars: int) -> list[int]:
    """Where to cut: never inside an ending."""
    edges, inside = [0], False
    for index, measure in enumerate(first_part):
        if not inside and index - edges[-1] >= STRETCH and index < bars:
            edges.append(index)
        for ending in measure.iter("ending"):
            inside = ending.get("type") == "start"
    return [*edges, len(first_part)]


def _opening_signs(measure: Element) -> list[Element]:
    """Signs that a measure states before its first note."""
    found: list[Element] = []
    for element in measure:
        if element.tag == "note":
            break
        if element.tag == "attributes":
            found += [e for e in element if e.tag in _SIGNS]
    return found


def _name(sign: Element) -> tuple[str, str]:
    return sign.tag, sign.get("number", "")


def _take(measure: Element, in_force: dict[tuple[str, str], Element]) -> None:
    for attributes in measure.findall("attributes"):
        for sign in attributes:
            if sign.tag in _SIGNS:
                in_force[_name(sign)] = sign


def _opened(measure: Element, in_force: dict[tuple[str, str], Element]) -> Element:
    """A measure that states every sign in force."""
    own = {_name(s): s for s in _opening_signs(measure)}
    signs = sorted({**in_force, **own}.values(), key=lambda s: _ORDER.index(s.tag))
    made = copy.copy(measure)
    attributes = ET.Element("attributes")
    attributes.extend(signs)
    made[:] = [attributes, *[e for e in measure if e.tag != "print"]]
    return made


def joined(pages: Sequence[str], new_signs: Sequence[Sequence[set[str]]]) -> Element:
    """The MEI pages of the stretches as one score.

    new_signs : by stretch and part, the signs that its first bar really states
    """
    root = mei.parse(pages[0])
    section = _section(root)
    _without_orders(root)
    for page, new in zip(pages[1:], new_signs[1:], strict=True):
        other = mei.parse(page)
        _without_orders(other)
        change = _change(other, new)
        if change is not None:
            section.append(change)
        section.extend(_section(other))
    return root


def _section(root: Element) -> Element:
    score = next(mei.all_of(root, "score"))
    return next(e for e in score if mei.kind(e) == "section")


def _without_orders(root: Element) -> None:
    for parent in root.iter():
        for expansion in [e for e in parent if mei.kind(e) == "expansion"]:
            parent.remove(expansion)


def _change(page: Element, new: Sequence[set[str]]) -> Element | None:
    """A scoreDef with the signs that change where a stretch begins."""
    wanted = [{_DRAWN[tag] for tag in own if tag in _DRAWN} for own in new]
    if not any(wanted):
        return None
    change = mei.make("scoreDef")
    group = mei.add(change, "staffGrp")
    parts = _parts_of(page)
    for part, signs in zip(parts, wanted, strict=False):
        for staff in part:
            own = mei.add(group, "staffDef", n=staff.get("n", "1"))
            own.extend(s for s in staff if mei.kind(s) in signs)
    return change


def _parts_of(page: Element) -> list[list[Element]]:
    """The staffDefs of each part, in order: a part with several staves is a group of its own."""
    opening = next(mei.all_of(page, "scoreDef"))
    found: list[list[Element]] = []

    def walk(group: Element) -> None:
        staves = [e for e in group if mei.kind(e) == "staffDef"]
        groups = [e for e in group if mei.kind(e) == "staffGrp"]
        if staves and not groups and mei.child(group, "label") is not None:
            found.append(staves)
            return
        for element in group:
            if mei.kind(element) == "staffDef":
                found.append([element])
            elif mei.kind(element) == "staffGrp":
                walk(element)

    for group in opening:
        if mei.kind(group) == "staffGrp":
            walk(group)
    return found
