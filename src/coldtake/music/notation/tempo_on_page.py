"""Another tempo on the page than the one written: of an exercise that is to be played at its own.

Only where the page has one tempo: where it changes, the changes stand to each other as written, and
one number in place of them would be wrong.
"""

import re
from dataclasses import replace
from fractions import Fraction

from coldtake.music import mei
from coldtake.music.mei import Element
from coldtake.music.passage import Passage
from coldtake.music.theory.tempo import note_sign

# The words before the note sign and the number, such as “Lively”.
_WORDS = re.compile(r"^(.*?)[^\w\s]*\.?\s*=\s*[\d.,]+\W*$", re.DOTALL)


def at_tempo(passage: Passage, mark: float, unit_beats: float) -> Passage:
    """Return a passage with the tempo at which an exercise asks for it on its page."""
    return replace(passage, mei=with_tempo(passage.mei, mark, unit_beats))


def with_tempo(mei_text: str, mark: float, unit_beats: float) -> str:
    """Return the page with `mark` beats of `unit_beats` quarters a minute as its only tempo.

    A page without a tempo, or with several, is returned as it is.
    """
    root = mei.parse(mei_text)
    signs = [e for e in mei.all_of(root, "tempo") if mei.number(e.get("mm")) is not None]
    if len(signs) != 1:
        return mei_text
    _set(signs[0], mark, unit_beats)
    return mei.write(root)


def _set(sign: Element, mark: float, unit_beats: float) -> None:
    found = _WORDS.match(mei.text_of(sign))
    words = found[1].strip() if found else ""
    for inner in list(sign):
        sign.remove(inner)
    part = Fraction(unit_beats).limit_denominator(64) / 4
    sign.text = f"{words} {note_sign(part)} = {mark:g}".strip()
    dotted = part.numerator == 3
    plain = unit_beats / 1.5 if dotted else unit_beats
    sign.attrib.pop("mm.dots", None)
    for key, value in (
        ("mm", f"{mark:g}"),
        ("mm.unit", f"{round(4 / plain)}"),
        ("midi.bpm", f"{mark * unit_beats:g}"),
        *([("mm.dots", "1")] if dotted else []),
    ):
        sign.set(key, value)
