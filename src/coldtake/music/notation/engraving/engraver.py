"""A passage as one inline SVG that a strict content policy allows, with marks on its notes.

verovio engraves; here its style sheet becomes presentation attributes, ids are kept for notes and
bars only (with a prefix, so that two passages can stand on one page), and marks are drawn.
`data-note` on each notehead group names the notation id without the prefix.
"""

import re
import xml.etree.ElementTree as ET
from collections.abc import Mapping, Sequence
from functools import lru_cache

from coldtake.errors import PassageError
from coldtake.music import mei
from coldtake.music.mei import Element
from coldtake.music.notation import verovio_client
from coldtake.music.notation.engraving.mark_places import Places
from coldtake.music.notation.engraving.marks import (
    COLOURS,
    SVG,
    BarMark,
    ExtraMark,
    NoteMark,
    bracket,
    drawn,
    element,
)
from coldtake.music.passage import Passage

__all__ = ["STAVE_PX", "BarMark", "ExtraMark", "NoteMark", "engrave", "engrave_lines"]

_XLINK_HREF = "{http://www.w3.org/1999/xlink}href"
_STROKED = ("path", "polygon", "polyline", "rect", "ellipse")
_BOLD = ("ending", "fing", "reh", "tempo")
_ITALIC = ("dir", "dynam", "mNum")
_PAGE = {
    "adjustPageHeight": True,
    "header": "none",
    "footer": "none",
    "svgViewBox": True,
    "svgRemoveXlink": True,
    "smuflTextFont": "none",
    "pageHeight": 60_000,
    "pageMarginTop": 60,
    "pageMarginBottom": 60,
    "staffLineWidth": 0.22,
    "stemWidth": 0.24,
    "pageMarginLeft": 20,
    "pageMarginRight": 20,
    "breaks": "auto",
}
STAVE_PX = 72  # height of a five-line stave at full size: eight of verovio's units of 9
_LINE_BY_LINE = {"pageHeight": 100, "pageMarginTop": 15, "pageMarginBottom": 15}
ET.register_namespace("svg", SVG)


def engrave(
    passage: Passage,
    *,
    marks: Mapping[str, NoteMark] | None = None,
    extras: Sequence[ExtraMark] = (),
    bars: Sequence[BarMark] = (),
    width_px: int = 900,
    scale: int = 40,
    prefix: str = "",
) -> str:
    """The passage as one `<svg>` element.

    bars : brackets under whole bars
    marks : by note id or notation id; a note's mark goes to every notehead of its tied chain
    width_px : 100 to 5000; scale : 10 to 100, percent of verovio's full size
    prefix : put before every id (letters, digits, "-" and "_")
    """
    width_px, scale = min(max(width_px, 100), 5000), min(max(scale, 10), 100)
    root = ET.fromstring(_plain_svg(passage.mei, width_px, scale))
    heads = _marks_by_head(passage, marks or {})
    places = Places(root, passage)
    for group in root.iter(f"{{{SVG}}}g"):
        mark = heads.get(group.get("id", ""))
        if mark is not None:
            _mark(group, mark, places)
    for extra in extras:
        _add_extra(extra, places)
    for bar in bars:
        under = places.under(bar.head)
        if under is not None:
            measure, left, right, y = under
            measure.append(bracket(bar, left, right, y))
    _finish(root, passage, prefix)
    return _text(root)


def engrave_lines(passage: Passage, *, width_px: int, text_units: float = 4.5) -> tuple[str, ...]:
    """Every line of music as an `<svg>` of its own at full size, for pages of paper.

    width_px : 300 to 20000, of a line; a stave is STAVE_PX high
    text_units : 2 to 8, size of chord symbols and words in eighths of a stave's height; bar numbers
    are four fifths of it
    """
    options = {
        **_PAGE,
        **_LINE_BY_LINE,
        "scale": 100,
        "pageWidth": min(max(width_px, 300), 20_000),
        "lyricSize": min(max(text_units, 2.0), 8.0),
    }
    pages = verovio_client.to_svg(passage.mei, options).pages
    if not pages:
        raise PassageError("this notation cannot be engraved.", remedy="Export it again.")
    lines = []
    for page in pages:
        root = ET.fromstring(page)
        _clean(root)
        root.set("color", "black")
        root.set("fill", "currentColor")
        lines.append(_text(root))
    return tuple(lines)


@lru_cache(maxsize=64)
def _plain_svg(mei_text: str, width_px: int, scale: int) -> str:
    """The engraving without marks, cleaned of style sheets; one page."""
    options = {**_PAGE, "scale": scale, "pageWidth": round(width_px * 100 / scale)}
    pages = verovio_client.to_svg(mei_text, options).pages
    if not pages:
        raise PassageError("this notation cannot be engraved.", remedy="Export it again.")
    root = _stacked([ET.fromstring(page) for page in pages])
    _clean(root)
    for node in root.iter():
        if "staff" in node.get("class", "").split():
            _sharp_lines(node)
    return ET.tostring(root, encoding="unicode")


def _clean(root: Element) -> None:
    """No style sheets, no placeholders; what they said as attributes."""
    for parent, unwanted in [(p, e) for p in root.iter() for e in p if _unwanted(p, e)]:
        parent.remove(unwanted)
    for node in root.iter():
        _presentable(node)


def _name(node: Element) -> str:
    return mei.kind(node)


def _unwanted(parent: Element, node: Element) -> bool:
    """Style sheets, and the dots that stand for what has no shape."""
    return _name(node) in ("style", "desc") or "placeholder" in parent.get("class", "").split()


def _stacked(pages: list[Element]) -> Element:
    """Pages one below the other in the first."""
    root = pages[0]
    box = [float(n) for n in root.get("viewBox", "0 0 1 1").split()]
    for inner in root:
        if _name(inner) == "svg":
            _place(inner, 0.0, box[2], box[3])
    height = box[3]
    for page in pages[1:]:
        size = [float(n) for n in page.get("viewBox", "0 0 1 1").split()]
        for inner in page:
            if _name(inner) == "svg":
                _place(inner, height, size[2], size[3])
            root.append(inner)
        height += size[3]
    root.set("viewBox", f"0 0 {box[2]:.0f} {height:.0f}")
    root.set("width", f"{box[2]:.0f}")
    root.set("height", f"{height:.0f}")
    return root


def _place(inner: Element, top: float, width: float, height: float) -> None:
    for key, value in (("y", top), ("width", width), ("height", height)):
        inner.set(key, f"{value:.0f}")


def _presentable(node: Element) -> None:
    """What verovio's style sheet says, as attributes."""
    node.attrib.pop("style", None)
    node.attrib.pop("color", None)
    classes = node.get("class", "").split()
    if _name(node) in _STROKED and "stroke" not in node.attrib:
        node.set("stroke", "currentColor")
    if any(c in _BOLD for c in classes):
        node.set("font-weight", "bold")
    if any(c in _ITALIC for c in classes):
        node.set("font-style", "italic")


def _sharp_lines(staff: Element) -> None:
    """Staff lines on whole pixels: else every second one fades on an ordinary screen."""
    for line in staff:
        if _name(line) == "path":
            line.set("shape-rendering", "crispEdges")


def _marks_by_head(passage: Passage, marks: Mapping[str, NoteMark]) -> dict[str, NoteMark]:
    """Marks by notehead; of several playings of one head the first that is not right wins."""
    found: dict[str, NoteMark] = {}
    known = {note.id: note for note in passage.notes}
    for name, mark in marks.items():
        note = known.get(name)
        for head in note.notation_ids if note else (name,):
            if head not in found or found[head].kind == "right":
                found[head] = mark
    return found


def _mark(group: Element, mark: NoteMark, places: Places) -> None:
    """Colour one note, give it a title and a shape."""
    group.set("class", f"{group.get('class', 'note')} mark-{mark.kind}")
    group.set("color", COLOURS[mark.kind])
    title = element("title")
    title.text = mark.words
    group.insert(0, title)
    x, y = places.beside(group.get("id", ""))
    group.extend(drawn(mark, x, y))


def _add_extra(extra: ExtraMark, places: Places) -> None:
    found = places.between(extra.beat, extra.pitch)
    if found is None:
        return
    layer, x, y = found
    mark = NoteMark("extra", extra.words)
    group = element("g", class_="extra mark-extra", color=COLOURS["extra"])
    title = element("title")
    title.text = extra.words
    group.append(title)
    group.extend(drawn(mark, x, y))
    layer.append(group)


def _finish(root: Element, passage: Passage, prefix: str) -> None:
    """Names, ids and the description of the whole."""
    if re.search(r"[^\w-]", prefix):
        raise ValueError(f"prefix {prefix!r}: only letters, digits, '-' and '_'")
    for node in root.iter():
        _settle_id(node, prefix)
    root.set("id", f"{prefix}notation")
    root.set("class", "notation")
    root.set("role", "img")
    root.set("color", "black")
    root.set("fill", "currentColor")
    root.set("overflow", "visible")
    title = element("title")
    title.text = passage.title or "Passage"
    root.insert(0, title)
    bars = f"{len(passage.bars)} bar{'' if len(passage.bars) == 1 else 's'}"
    root.set("aria-label", f"{title.text}: {bars} of written music")


def _settle_id(node: Element, prefix: str) -> None:
    own = node.attrib.pop("id", "")
    classes = node.get("class", "").split()
    in_defs = own[:1] in ("E", "U") and "-" in own and _name(node) == "g" and not classes
    if own and ("note" in classes or "measure" in classes or in_defs or _name(node) == "symbol"):
        node.set("id", prefix + own)
    if own and "note" in classes:
        node.set("data-note", own)
    for key in ("href", _XLINK_HREF):
        if node.get(key, "").startswith("#"):
            node.set("href", f"#{prefix}{node.attrib.pop(key)[1:]}")


def _text(root: Element) -> str:
    text = ET.tostring(root, encoding="unicode")
    return text.replace("<svg:", "<").replace("</svg:", "</").replace("xmlns:svg=", "xmlns=")
