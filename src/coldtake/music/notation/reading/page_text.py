"""What a page says besides notes: ties, tempo marks, chord symbols, jumps, title."""

import re
from collections.abc import Sequence
from fractions import Fraction

from coldtake.music import mei
from coldtake.music.mei import Element
from coldtake.music.notation.reading.as_played import Ties
from coldtake.music.notation.reading.bar_notes import BarContent
from coldtake.music.notation.reading.written_bars import WrittenBar
from coldtake.music.page_limits import possible
from coldtake.music.passage import Harmony, TempoMark

_JUMPS = {
    "coda": "coda",
    "segno": "segno",
    "dalSegno": "dalsegno",
    "daCapo": "dacapo",
    "fine": "fine",
    "toCoda": "tocoda",
}
ORNAMENTS = ("trill", "mordent", "turn")
_WORDS = frozenset({"dacapo", "dalsegno", "fine", "tocoda"})


def ties(score: Element, contents: Sequence[BarContent]) -> Ties:
    """All ties of the page, written as elements or on the notes themselves."""
    targets: dict[str, str] = {}
    open_ties: set[str] = set()
    for tie in mei.all_of(score, "tie"):
        start, end = mei.ref(tie, "startid"), mei.ref(tie, "endid")
        if start and end:
            targets[start] = end
        elif start:
            open_ties.add(start)
    notes = [note for content in contents for note in content.notes]
    open_ties |= {note.id for note in notes if note.tie[:1] in ("i", "m")}
    stops = {note.id for note in notes if note.tie[:1] in ("m", "t")}
    heads = [(mei.xml_id(e), e.get("type", "").split()) for e in mei.all_of(score, "note")]
    open_ties |= {name for name, words in heads if "tie-start" in words}
    stops |= {name for name, words in heads if "tie-stop" in words}
    return Ties(targets, frozenset(open_ties), frozenset(stops))


def ornaments(score: Element) -> dict[str, str]:
    """Say which noteheads have a trill, mordent or turn, by id; of a chord each.

    A sign that only names a beat, and none of the notes, is not among them.
    """
    chords = {mei.xml_id(e): e for e in mei.all_of(score, "chord")}
    found: dict[str, str] = {}
    for what in ORNAMENTS:
        for sign in mei.all_of(score, what):
            start = mei.ref(sign, "startid")
            heads = mei.all_of(chords[start], "note") if start in chords else ()
            found |= dict.fromkeys([mei.xml_id(e) for e in heads] or [start], what)
    return found


def find_jumps(bars: Sequence[WrittenBar]) -> None:
    """Put the jump signs of every bar into its marks."""
    for bar in bars:
        for sign in mei.all_of(bar.element, "repeatMark"):
            name = _JUMPS.get(sign.get("func", ""))
            words = mei.text_of(sign).lower()
            if name == "coda" and re.match("(to|al) ", words):
                name = "tocoda"
            if name:
                bar.marks.add(name)
        for sign in mei.all_of(bar.element, "dir"):  # as verovio writes them
            bar.marks |= _WORDS & set(sign.get("type", "").split())


def tempi(
    score: Element, bars: Sequence[WrittenBar], contents: Sequence[BarContent], order: Sequence[int]
) -> tuple[TempoMark, ...]:
    """Tempo marks in the order of playing; a jump back brings the earlier tempo back."""
    own = [_own_tempi(bar, content) for bar, content in zip(bars, contents, strict=True)]
    first = next((tempo_mark(d, Fraction(0)) for d in mei.all_of(score, "scoreDef")), None)
    in_force: list[TempoMark | None] = []
    now = first
    for marks in own:
        in_force.append(now)
        now = marks[-1] if marks else now
    found: list[TempoMark] = []
    at = Fraction(0)
    for place in order:
        start = in_force[place]
        here = [_at(start, Fraction(0))] if start is not None else []
        for mark in (*here, *own[place]):
            _take(found, _at(mark, at + Fraction(mark.onset_beats)))
        at += contents[place].length
    return tuple(found)


def _take(found: list[TempoMark], mark: TempoMark) -> None:
    """Add a mark unless it says what is in force; a later one at the same place wins."""
    if found and found[-1].onset_beats == mark.onset_beats:
        found.pop()
    if not found or (found[-1].bpm, found[-1].beat_unit_beats) != (mark.bpm, mark.beat_unit_beats):
        found.append(mark)


def _own_tempi(bar: WrittenBar, content: BarContent) -> list[TempoMark]:
    marks = [tempo_mark(e, place(bar, content, e)) for e in mei.all_of(bar.element, "tempo")]
    return sorted((m for m in marks if m is not None), key=lambda m: m.onset_beats)


def tempo_mark(element: Element, onset: Fraction) -> TempoMark | None:
    """Tempo of a `tempo` or `scoreDef`: the printed mark if there is one, else midi.bpm."""
    printed, played = mei.number(element.get("mm")), mei.number(element.get("midi.bpm"))
    if printed is not None:
        unit = Fraction(4, max(mei.whole(element.get("mm.unit"), 4), 1))
        unit *= 2 - Fraction(1, 2 ** min(max(mei.whole(element.get("mm.dots")), 0), 4))
        return possible(TempoMark(float(onset), _finite(printed * unit), float(unit)))
    unit = mei.stated_beats(element) or Fraction(1)
    return possible(TempoMark(float(onset), _finite(played or 0), float(unit)))


def _finite(value: Fraction | int) -> float:
    return float(min(value, 10**9))


def _at(mark: TempoMark, onset: Fraction) -> TempoMark:
    return TempoMark(float(onset), mark.bpm, mark.beat_unit_beats)


def place(bar: WrittenBar, content: BarContent, element: Element) -> Fraction:
    """Where in its bar a mark stands [quarter notes from the barline]."""
    start = mei.ref(element, "startid")
    for note in content.notes:
        if note.id == start:
            return note.onset
    stamp = mei.number(element.get("tstamp"))
    unit = next((s.metre[1] for s in bar.staves.values()), 4)
    return max((stamp - 1) * 4 / unit, Fraction(0)) if stamp is not None else Fraction(0)


def harmonies(
    bars: Sequence[WrittenBar], contents: Sequence[BarContent], order: Sequence[int]
) -> tuple[Harmony, ...]:
    """Chord symbols in the order of playing."""
    found: list[Harmony] = []
    at = Fraction(0)
    for index in order:
        for element in mei.all_of(bars[index].element, "harm"):
            symbol = mei.text_of(element)
            if symbol:
                onset = at + place(bars[index], contents[index], element)
                found.append(Harmony(float(onset), symbol))
        at += contents[index].length
    return tuple(sorted(found, key=lambda h: h.onset_beats))


def title(root: Element) -> str:
    """Title of the piece, or ""."""
    for where in ("workList", "fileDesc", "pgHead"):
        for element in mei.all_of(root, where):
            for text in mei.all_of(element, "title" if where != "pgHead" else "rend"):
                if mei.text_of(text):
                    return mei.text_of(text)
    return ""
