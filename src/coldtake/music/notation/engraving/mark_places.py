"""Where on an engraving marks go: beside a notehead, or between two."""

import re
from bisect import bisect_right
from dataclasses import dataclass
from itertools import pairwise

from coldtake.music import mei
from coldtake.music.mei import Element
from coldtake.music.notation.engraving.marks import HALF_SPACE
from coldtake.music.passage import Passage, PassageNote
from coldtake.music.theory import spelling

_PLACE = re.compile(r"translate\(\s*(-?[\d.]+)[ ,]+(-?[\d.]+)")
_NUMBERS = re.compile(r"-?\d+(?:\.\d+)?")
_HEAD_WIDTH = 200.0
_NAME = re.compile(r"^([A-G])[♯♭]*(-?\d+)$")


@dataclass(frozen=True, slots=True)
class _Head:
    """Centre of a notehead; stem_up None without a stem; layer: the page's drawing group."""

    x: float
    y: float
    stem_up: bool | None
    layer: Element
    system: int


class Places:
    """Finds places on one engraved page for one passage."""

    def __init__(self, root: Element, passage: Passage) -> None:
        self._passage = passage
        self._heads: dict[str, _Head] = {}
        for layer in root.iter():
            if "page-margin" in layer.get("class", ""):
                self._read_page(layer)
        self._line = self._top_line()
        self._measures = [e for e in root.iter() if "measure" in e.get("class", "").split()]

    def _read_page(self, layer: Element) -> None:
        for system, group in enumerate(
            e for e in layer.iter() if "system" in e.get("class", "").split()
        ):
            for note in group.iter():
                if "note" in note.get("class", "").split():
                    head = _head(note, layer, len(self._heads) * 0 + system)
                    if head is not None:
                        self._heads[note.get("id", "")] = head

    def _top_line(self) -> list[tuple[PassageNote, _Head]]:
        """Notes of the first staff with their places, in the order of playing."""
        first = min((n.staff for n in self._passage.notes), default=1)
        return [
            (note, self._heads[note.notation_ids[0]])
            for note in self._passage.notes
            if note.staff == first and note.notation_ids[0] in self._heads
        ]

    def beside(self, head_id: str) -> tuple[float, float]:
        """Centre of a mark's shape: away from the stem of its note."""
        head = self._heads.get(head_id)
        if head is None:
            return float("nan"), float("nan")
        down = head.stem_up is True
        return head.x, head.y + (1 if down else -1) * 3.2 * HALF_SPACE

    def under(self, head_id: str) -> tuple[Element, float, float, float] | None:
        """Drawing group of the bar that holds a notehead, its left and right edge, and its foot."""
        for measure in self._measures:
            if any(node.get("id") == head_id for node in measure.iter()):
                lines = [line for staff in _staves(measure) for line in _staff_lines(staff)]
                if lines:
                    left, right = min(a for a, _, _ in lines), max(b for _, b, _ in lines)
                    foot = max(y for _, _, y in lines)
                    lowest = max((h.y for h in self._heads_in(measure)), default=foot)
                    return measure, left, right, max(foot, lowest) + 6 * HALF_SPACE
        return None

    def _heads_in(self, measure: Element) -> list[_Head]:
        names = {node.get("id", "") for node in measure.iter()}
        return [head for name, head in self._heads.items() if name in names]

    def between(self, beat: float, pitch: int | None) -> tuple[Element, float, float] | None:
        """Drawing group and centre for a note at a beat that nobody wrote."""
        if not self._line:
            return None
        index = max(bisect_right([n.onset_beats for n, _ in self._line], beat) - 1, 0)
        note, head = self._line[index]
        x = head.x + 1.5 * _HEAD_WIDTH
        if beat < note.onset_beats:
            x = head.x - 1.5 * _HEAD_WIDTH
        elif index + 1 < len(self._line):
            after, next_head = self._line[index + 1]
            if next_head.system == head.system and next_head.x > head.x:
                share = (beat - note.onset_beats) / max(after.onset_beats - note.onset_beats, 1e-9)
                x = head.x + min(max(share, 0.2), 0.8) * (next_head.x - head.x)
        return head.layer, x, self._height(note, head, pitch)

    def _height(self, note: PassageNote, head: _Head, pitch: int | None) -> float:
        if pitch is None:
            return head.y - 8 * HALF_SPACE
        read = pitch - self._passage.transposition
        steps = _position_of_pitch(read) - _position_of_name(note.name)
        return head.y - steps * HALF_SPACE


def _position_of_name(name: str) -> int:
    """Diatonic steps above C0."""
    found = _NAME.match(name)
    if not found:
        return 0
    return 7 * int(found[2]) + "CDEFGAB".index(found[1])


def _position_of_pitch(pitch: int) -> int:
    """Diatonic steps above C0 of the nearest natural at or below."""
    octave, within = divmod(pitch, 12)
    steps = sum(1 for s in spelling.STEPS.values() if s <= within) - 1
    return 7 * (octave - 1) + steps


def _staves(measure: Element) -> list[Element]:
    return [e for e in measure.iter() if "staff" in e.get("class", "").split()]


def _staff_lines(staff: Element) -> list[tuple[float, float, float]]:
    """Left, right and height of each line of a stave: its own horizontal paths."""
    found = []
    for path in staff:
        numbers = [float(n) for n in _NUMBERS.findall(path.get("d", ""))]
        if mei.kind(path) == "path" and len(numbers) == 4 and numbers[1] == numbers[3]:
            found.append((numbers[0], numbers[2], numbers[1]))
    return found


def _head(note: Element, layer: Element, system: int) -> _Head | None:
    for part in note.iter():
        if "notehead" not in part.get("class", "").split():
            continue
        for use in part.iter():
            found = _PLACE.search(use.get("transform", ""))
            if mei.kind(use) == "use" and found:
                x = float(found[1]) + _HEAD_WIDTH / 2
                return _Head(x, float(found[2]), _stem_up(note, float(found[2])), layer, system)
    return None


def _stem_up(note: Element, y: float) -> bool | None:
    for part in note.iter():
        if "stem" in part.get("class", "").split():
            for path in part.iter():
                numbers = [float(n) for n in _NUMBERS.findall(path.get("d", ""))]
                ends = [b for a, b in pairwise(numbers)][::2]
                if ends:
                    return min(ends) < y - HALF_SPACE
    return None
