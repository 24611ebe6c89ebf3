"""MEI as a tree: parsing, ids and the few attributes that everything else asks for.

MEI (Music Encoding Initiative, version 5) is the one notation format inside: whatever a passage
was written in is turned into it once, and its xml:ids are what notes and evidence point to.
"""

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from fractions import Fraction

MEI_NS = "http://www.music-encoding.org/ns/mei"
XML_ID = "{http://www.w3.org/XML/1998/namespace}id"
ET.register_namespace("", MEI_NS)

Element = ET.Element


def parse(text: str) -> Element:
    """Root of a well-formed XML text; raises xml.etree.ElementTree.ParseError."""
    return ET.fromstring(text)


def write(root: Element) -> str:
    """The tree as XML text, without declaration."""
    return ET.tostring(root, encoding="unicode")


def kind(element: Element) -> str:
    """Tag without its namespace ("" for comments and instructions)."""
    tag = element.tag
    return tag.rpartition("}")[2] if isinstance(tag, str) else ""


def tag(name: str) -> str:
    """Tag of the MEI namespace."""
    return f"{{{MEI_NS}}}{name}"


def xml_id(element: Element) -> str:
    """Own xml:id or ""."""
    return element.get(XML_ID, "")


def ref(element: Element, attribute: str) -> str:
    """Id that an attribute such as startid points to, without its "#"; "" when absent."""
    return element.get(attribute, "").strip().removeprefix("#")


def refs(element: Element, attribute: str) -> tuple[str, ...]:
    """Ids of a list attribute such as plist."""
    return tuple(part.removeprefix("#") for part in element.get(attribute, "").split())


def all_of(root: Element, name: str) -> Iterator[Element]:
    """All descendants of one kind, in document order."""
    return (e for e in root.iter() if kind(e) == name)


def child(element: Element, name: str) -> Element | None:
    """First direct child of one kind."""
    return next((e for e in element if kind(e) == name), None)


def text_of(element: Element | None) -> str:
    """All text inside, white space collapsed."""
    return "" if element is None else " ".join("".join(element.itertext()).split())


def whole(text: str | None, default: int = 0) -> int:
    """Integer of an attribute, or the default when absent or malformed."""
    try:
        return int(text) if text is not None else default
    except ValueError:
        return default


def number(text: str | None) -> Fraction | None:
    """Positive number of an attribute, exactly; None when absent or malformed."""
    try:
        value = Fraction(text.strip()) if text else None
    except (ValueError, ZeroDivisionError):
        return None
    return value if value is not None and value > 0 else None


def make(name: str, **attributes: str | int) -> Element:
    """A new element; `id` becomes xml:id, an underscore in a name a dot."""
    made = Element(tag(name))
    for key, value in attributes.items():
        made.set(XML_ID if key == "id" else key.replace("_", "."), str(value))
    return made


def add(parent: Element, name: str, **attributes: str | int) -> Element:
    """A new last child."""
    made = make(name, **attributes)
    parent.append(made)
    return made


def add_type(element: Element, word: str) -> None:
    """Add a word to the free `type` attribute."""
    element.set("type", " ".join(filter(None, (element.get("type"), word))))


def stated_beats(element: Element) -> Fraction | None:
    """The number n/m that a word "beats-n-m" in `type` states, or None."""
    found = re.search(r"\bbeats-(\d{1,6})-([1-9]\d{0,6})\b", element.get("type", ""))
    return Fraction(int(found[1]), int(found[2])) if found else None
