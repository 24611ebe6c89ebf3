"""A page that was read, as MusicXML 4.0: a part for each staff of a system.

Every doubtful bar has a question mark over it.
"""

import xml.etree.ElementTree as ET
from collections.abc import Sequence

from coldtake.music.print.assembling import PrintState
from coldtake.music.print.records import PrintedBar, PrintedNote, PrintedPage

_DIVISIONS = 96  # of a quarter note: a 32nd in a triplet is 8 of them
_TYPES = {1: "whole", 2: "half", 4: "quarter", 8: "eighth", 16: "16th", 32: "32nd"}
_CLEFS = {
    "G": ("G", 2, 0),
    "G8": ("G", 2, -1),
    "F": ("F", 4, 0),
    "C3": ("C", 3, 0),
    "C4": ("C", 4, 0),
}
_SIGNS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
_SYMBOLS = {"C": ("4/4", "common"), "cut": ("2/2", "cut")}
_STYLES = {"bar.double": "light-light", "bar.final": "light-heavy", "repeat.end": "light-heavy"}


def as_musicxml(page: PrintedPage) -> str:
    """The page as a MusicXML document (score-partwise)."""
    root = ET.Element("score-partwise", version="4.0")
    names = ET.SubElement(root, "part-list")
    for number in sorted({staff.number for staff in page.staves}):
        part = ET.SubElement(names, "score-part", id=f"P{number}")
        ET.SubElement(part, "part-name").text = f"Staff {number}"
        bars = [bar for staff in page.staves if staff.number == number for bar in staff.bars]
        _part(ET.SubElement(root, "part", id=f"P{number}"), bars)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode")


def doubtful_bars(page: PrintedPage) -> tuple[int, ...]:
    """Numbers of the bars, in any part, that have a question mark over them, from 1."""
    found: set[int] = set()
    for number in {staff.number for staff in page.staves}:
        bars = [bar for staff in page.staves if staff.number == number for bar in staff.bars]
        found |= {place for place, bar in enumerate(bars, start=1) if bar.doubtful}
    return tuple(sorted(found))


def _part(part: ET.Element, bars: Sequence[PrintedBar]) -> None:
    before: PrintedBar | None = None
    tied: PrintedNote | None = None
    for number, bar in enumerate(bars, start=1):
        measure = ET.SubElement(part, "measure", number=str(number))
        _attributes(measure, bar, before)
        if bar.starts_repeat or bar.ending:
            _left_line(measure, bar)
        if bar.doubtful:
            direction = ET.SubElement(measure, "direction", placement="above")
            ET.SubElement(ET.SubElement(direction, "direction-type"), "words").text = "?"
        tied = _notes(measure, bar, tied)
        _right_line(measure, bar)
        before = bar


def _attributes(measure: ET.Element, bar: PrintedBar, before: PrintedBar | None) -> None:
    new = [
        kind for kind in ("key_fifths", "time", "clef")
        if before is None or getattr(before, kind) != getattr(bar, kind)
    ]  # fmt: skip
    if not new:
        return
    out = ET.SubElement(measure, "attributes")
    if before is None:
        ET.SubElement(out, "divisions").text = str(_DIVISIONS)
    if "key_fifths" in new:
        ET.SubElement(ET.SubElement(out, "key"), "fifths").text = str(bar.key_fifths)
    if "time" in new and bar.time:
        metre, symbol = _SYMBOLS.get(bar.time, (bar.time, ""))
        time = ET.SubElement(out, "time", {"symbol": symbol} if symbol else {})
        for name, text in zip(("beats", "beat-type"), metre.split("/"), strict=True):
            ET.SubElement(time, name).text = text
    if "clef" in new:
        sign, line, octave = _CLEFS[bar.clef]
        clef = ET.SubElement(out, "clef")
        ET.SubElement(clef, "sign").text = sign
        ET.SubElement(clef, "line").text = str(line)
        if octave:
            ET.SubElement(clef, "clef-octave-change").text = str(octave)


def _left_line(measure: ET.Element, bar: PrintedBar) -> None:
    line = ET.SubElement(measure, "barline", location="left")
    if bar.ending:
        ET.SubElement(line, "ending", number=str(bar.ending), type="start")
    if bar.starts_repeat:
        ET.SubElement(line, "repeat", direction="forward")


def _right_line(measure: ET.Element, bar: PrintedBar) -> None:
    if bar.barline not in _STYLES and not bar.ending:
        return
    line = ET.SubElement(measure, "barline", location="right")
    if bar.barline in _STYLES:
        ET.SubElement(line, "bar-style").text = _STYLES[bar.barline]
    if bar.ending:
        kind = "stop" if bar.barline == "repeat.end" else "discontinue"
        ET.SubElement(line, "ending", number=str(bar.ending), type=kind)
    if bar.barline == "repeat.end":
        ET.SubElement(line, "repeat", direction="backward")


def _notes(measure: ET.Element, bar: PrintedBar, tied: PrintedNote | None) -> PrintedNote | None:
    """Write the notes; takes and gives the note that is tied over a bar line."""
    state = PrintState(key_fifths=bar.key_fifths)
    written: dict[int, int] = {}
    in_triplet = 0.0
    for place, note in enumerate(bar.notes):
        comes_tied = tied is not None and tied.pitch == note.pitch and not note.grace
        sign = None
        if note.pitch is not None:
            if note.alter != written.get(note.step, state.altered(note.step)) and not comes_tied:
                sign = _SIGNS[note.alter]
            if not comes_tied:
                written[note.step] = note.alter
        starts = note.triplet and in_triplet == 0
        in_triplet += note.beats if note.triplet else 0
        following = bar.notes[place + 1] if place + 1 < len(bar.notes) else None
        # a triplet fills an even share: half a beat, a beat or two
        whole = note.triplet and any(abs(in_triplet - w) < 1e-3 for w in (0.25, 0.5, 1, 2))
        ends = note.triplet and (whole or following is None or not following.triplet)
        _note(measure, note, sign, comes_tied=comes_tied, tuplet=(starts, ends))
        in_triplet = 0.0 if ends or not note.triplet else in_triplet
        if not note.grace:
            tied = note if note.tie else None
    return tied


def _note(
    measure: ET.Element,
    note: PrintedNote,
    sign: str | None,
    *,
    comes_tied: bool,
    tuplet: tuple[bool, bool],
) -> None:
    out = ET.SubElement(measure, "note")
    if note.grace:
        ET.SubElement(out, "grace", slash="yes")
    if note.pitch is None:
        ET.SubElement(out, "rest", {} if note.length else {"measure": "yes"})
    else:
        pitch = ET.SubElement(out, "pitch")
        ET.SubElement(pitch, "step").text = "CDEFGAB"[note.step % 7]
        if note.alter:
            ET.SubElement(pitch, "alter").text = str(note.alter)
        ET.SubElement(pitch, "octave").text = str(note.step // 7)
    if not note.grace:
        ET.SubElement(out, "duration").text = str(max(round(note.beats * _DIVISIONS), 1))
    ties = [kind for kind, there in (("stop", comes_tied), ("start", note.tie)) if there]
    for kind in ties:
        ET.SubElement(out, "tie", type=kind)
    ET.SubElement(out, "voice").text = "1"
    if note.length:
        ET.SubElement(out, "type").text = _TYPES[note.length]
    for _ in range(note.dots):
        ET.SubElement(out, "dot")
    if sign:
        ET.SubElement(out, "accidental").text = sign
    if note.triplet:
        ratio = ET.SubElement(out, "time-modification")
        ET.SubElement(ratio, "actual-notes").text = "3"
        ET.SubElement(ratio, "normal-notes").text = "2"
    _notations(out, ties, tuplet if note.triplet else (False, False))


def _notations(note: ET.Element, ties: Sequence[str], tuplet: tuple[bool, bool]) -> None:
    marks = [("tied", kind) for kind in ties]
    marks += [
        ("tuplet", kind) for kind, there in zip(("start", "stop"), tuplet, strict=True) if there
    ]
    if marks:
        notations = ET.SubElement(note, "notations")
        for name, kind in marks:
            ET.SubElement(notations, name, type=kind)
