"""One part out of several: a player's own line of a score."""

from dataclasses import dataclass

from coldtake.errors import PassageError
from coldtake.music import mei
from coldtake.music.mei import Element
from coldtake.music.notation.reading.score import Score
from coldtake.music.passage import Passage


@dataclass(frozen=True, slots=True)
class Part:
    """What one player reads: the staves under one name (a piano has two)."""

    name: str
    staves: tuple[int, ...]


def parts(passage: Passage) -> tuple[Part, ...]:
    """The parts of a passage in the order of the page."""
    opening = next(mei.all_of(mei.parse(passage.mei), "scoreDef"), None)
    found: list[Part] = []
    if opening is not None:
        for group in opening:
            _collect(group, found)
    return tuple(found)


def _collect(element: Element, found: list[Part]) -> None:
    what = mei.kind(element)
    label = mei.text_of(mei.child(element, "label"))
    if what == "staffDef":
        found.append(Part(label, (_number(element),)))
    elif what == "staffGrp" and label:
        found.append(Part(label, tuple(_number(s) for s in mei.all_of(element, "staffDef"))))
    elif what == "staffGrp":
        for inner in element:
            _collect(inner, found)


def _number(staff: Element) -> int:
    return mei.whole(staff.get("n"), 1)


def select_part(passage: Passage, number: int) -> Passage:
    """One part, counted from 1, as a passage of its own; note ids are kept.

    Raises PassageError when there is no such part or it has no notes.
    """
    known = parts(passage)
    if not 1 <= number <= len(known):
        raise PassageError(
            f"there is no part {number}: it has {len(known)}.",
            where=passage.title,
            remedy=f"Choose a part between 1 and {len(known)}.",
        )
    if len(known) == 1:
        return passage
    root = mei.parse(passage.mei)
    _keep(root, set(known[number - 1].staves))
    return Score(mei.write(root)).passage()


def _keep(parent: Element, staves: set[int]) -> None:
    """Remove what belongs to other staves, and groups that are left empty."""
    for element in list(parent):
        _keep(element, staves)
        what = mei.kind(element)
        if what in ("staff", "staffDef"):
            gone = _number(element) not in staves
        elif what == "staffGrp":
            gone = next(mei.all_of(element, "staffDef"), None) is None
        elif mei.kind(parent) == "measure":
            gone = what != "tempo" and not _belongs(element, parent, staves)
        else:
            gone = False
        if gone:
            parent.remove(element)


def _belongs(element: Element, measure: Element, staves: set[int]) -> bool:
    """True for a sign on one of the staves, or at a note that is still there."""
    named = element.get("staff", "").split()
    if named:
        return any(mei.whole(n) in staves for n in named)
    start = mei.ref(element, "startid")
    return not start or any(mei.xml_id(e) == start for e in measure.iter())
