"""Octave lines (8va, 8vb, 15ma) of MEI that does not state sounding octaves itself."""

from coldtake.music import mei
from coldtake.music.mei import Element

_OCTAVES = {"8": 1, "15": 2, "22": 3}


def apply(score: Element) -> None:
    """Use every note under an octave line its sounding octave (`oct.ges`), where it has none.

    The line must name its first and last note (startid, endid); one that only names beats is
    left alone.
    """
    lines = list(mei.all_of(score, "octave"))
    if not lines:
        return
    staves: dict[str, list[Element]] = {}
    homes: dict[str, str] = {}
    for staff in mei.all_of(score, "staff"):
        name = staff.get("n", "1")
        for event in staff.iter():
            if mei.kind(event) in ("note", "chord"):
                staves.setdefault(name, []).append(event)
                homes[mei.xml_id(event)] = name
    for line in lines:
        _one(line, staves.get(homes.get(mei.ref(line, "startid"), ""), []))


def _one(line: Element, events: list[Element]) -> None:
    names = [mei.xml_id(e) for e in events]
    first, last = mei.ref(line, "startid"), mei.ref(line, "endid")
    if first not in names or last not in names:
        return
    shift = _OCTAVES.get(line.get("dis", ""), 0)
    shift = -shift if line.get("dis.place") == "below" else shift
    for event in events[names.index(first) : names.index(last) + 1]:
        for note in mei.all_of(event, "note"):
            if note.get("oct.ges") is None and note.get("oct") is not None:
                note.set("oct.ges", str(mei.whole(note.get("oct")) + shift))
