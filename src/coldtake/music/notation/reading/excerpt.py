"""Some bars of a passage as a passage of its own, in sound and on the page."""

import copy
from collections.abc import Iterable, Sequence

from coldtake.errors import PassageError
from coldtake.music import mei
from coldtake.music.mei import Element
from coldtake.music.notation.reading.score import Score
from coldtake.music.notation.reading.written_bars import WrittenBar
from coldtake.music.passage import Passage

_SIGNS = ("clef", "keySig", "meterSig", "meterSigGrp")
_SIGN_ATTRIBUTES = ("clef.", "key.", "keysig", "meter.", "trans.", "ppq")
_REFERENCES = ("startid", "endid")


def select_bars(passage: Passage, first: int | None, last: int | None) -> Passage:
    """Bars first to last, both counted from 1 as played and both included; None: no limit.

    Note ids are kept; a note tied into the first bar starts there. Raises PassageError when the
    passage has no such bars.
    """
    count = len(passage.bars)
    low, high = 1 if first is None else first, count if last is None else last
    if (low, high) == (1, count):
        return passage
    if not 1 <= low <= high <= count:
        raise PassageError(
            f"bars {low} to {high} are not in it: it has {count} bars as played.",
            where=passage.title,
            remedy=f"Choose bars between 1 and {count}.",
        )
    score = Score(passage.mei)
    return score.passage(low - 1, high, _cut(score, score.order[low - 1 : high]))


def _cut(score: Score, order: Sequence[int]) -> str:
    """The notation of the bars in `order` only, opening with the signs in force there."""
    kept = {id(score.bars[index].element) for index in order}
    first = score.bars[min(order)].element
    root = copy.copy(score.root)
    memo: dict[int, Element] = {}
    root = _copy(score.root, memo)
    cut_first = memo[id(first)]
    target = memo[id(score.score)]
    keep = {id(memo[key]) for key in kept}
    _carry_signs(target, cut_first)
    _drop(target, keep, [False], id(cut_first))
    _drop_dangling(target)
    if len(order) == len(kept):
        _plain_barlines(memo[id(score.bars[i].element)] for i in order)
    _say_order(target, score.bars, order)
    return mei.write(root)


def _copy(element: Element, memo: dict[int, Element]) -> Element:
    """Deep copy that remembers which copy came from which element."""
    new = copy.copy(element)
    new[:] = [_copy(e, memo) for e in element]
    memo[id(element)] = new
    return new


def _carry_signs(score: Element, first: Element) -> None:
    """Write the clef, key, metre and transposition in force at `first` into the opening."""
    opening = mei.child(score, "scoreDef")
    if opening is None:
        return
    staves = {mei.whole(s.get("n"), 1): s for s in mei.all_of(opening, "staffDef")}
    for element in _before(score, first):
        what = mei.kind(element)
        if what == "scoreDef" and element is not opening:
            for staff in staves.values():
                _take_signs(staff, element)
        elif what == "staffDef" and element not in staves.values():
            _take_signs(staves.get(mei.whole(element.get("n"), 1)), element)
        elif what == "staff":
            for sign in element.iter():
                if mei.kind(sign) in _SIGNS:
                    _take_sign(staves.get(mei.whole(element.get("n"), 1)), sign)


def _before(score: Element, first: Element) -> Iterable[Element]:
    for element in score.iter():
        if element is first:
            return
        yield element


def _take_signs(staff: Element | None, definition: Element) -> None:
    if staff is None:
        return
    for key, value in definition.attrib.items():
        if key.startswith(_SIGN_ATTRIBUTES):
            staff.set(key, value)
            _forget(staff, key.partition(".")[0])
    for sign in definition:
        if mei.kind(sign) in _SIGNS:
            _take_sign(staff, sign)


def _forget(staff: Element, family: str) -> None:
    """An attribute replaces the child that said the same."""
    what = {"clef": "clef", "keysig": "keySig", "key": "keySig", "meter": "meterSig"}.get(family)
    old = mei.child(staff, what) if what else None
    if old is not None:
        staff.remove(old)


def _take_sign(staff: Element | None, sign: Element) -> None:
    if staff is None:
        return
    old = mei.child(staff, mei.kind(sign))
    if old is not None:
        staff.remove(old)
    family = {"clef": "clef.", "keySig": "key", "meterSig": "meter.", "meterSigGrp": "meter."}
    for key in [k for k in staff.attrib if k.startswith(family[mei.kind(sign)])]:
        del staff.attrib[key]
    new = copy.deepcopy(sign)
    new.attrib = {k: v for k, v in sign.attrib.items() if k != mei.XML_ID}
    label = sum(1 for e in staff if mei.kind(e) in ("label", "labelAbbr", "instrDef"))
    place = label if mei.kind(sign) == "clef" else len(staff)
    staff.insert(place, new)


def _drop(parent: Element, keep: set[int], reached: list[bool], first: int) -> None:
    """Remove measures that are not kept, and definitions before the first kept one."""
    for element in list(parent):
        what = mei.kind(element)
        if what == "measure":
            reached[0] = reached[0] or id(element) == first
            if id(element) not in keep:
                parent.remove(element)
        elif what in ("section", "ending", "mdiv", "lem", "rdg", "app"):
            _drop(element, keep, reached, first)
            if next(mei.all_of(element, "measure"), None) is None:
                parent.remove(element)
        elif what in ("sb", "pb", "expansion") or (
            what in ("scoreDef", "staffDef") and mei.kind(parent) != "score" and not reached[0]
        ):
            parent.remove(element)


def _drop_dangling(score: Element) -> None:
    """Remove slurs, ties and lines that lead to notes that are gone."""
    present = {mei.xml_id(e) for e in score.iter()}
    measures = list(mei.all_of(score, "measure"))
    for index, measure in enumerate(measures):
        for element in list(measure):
            gone = any(element.get(r) and mei.ref(element, r) not in present for r in _REFERENCES)
            ahead = element.get("tstamp2", "").partition("m")
            past = bool(ahead[1]) and mei.whole(ahead[0]) >= len(measures) - index
            if mei.kind(element) != "staff" and (gone or past):
                measure.remove(element)


def _plain_barlines(measures: Iterable[Element]) -> None:
    """No repeat signs where nothing is repeated."""
    for measure in measures:
        for side in ("left", "right"):
            if measure.get(side, "").startswith("rpt"):
                del measure.attrib[side]


def _say_order(score: Element, bars: Sequence[WrittenBar], order: Sequence[int]) -> None:
    """State the order of playing, so that the cut reads back as it was played."""
    section = mei.child(score, "section")
    if section is not None:
        names = " ".join(f"#{mei.xml_id(bars[i].element)}" for i in order)
        section.insert(0, Element(mei.tag("expansion"), {"plist": names}))
