"""Everything around the notes of a tune in MEI: ties, slurs, dynamics, chord symbols, jumps."""

import re
from collections.abc import Iterator
from fractions import Fraction

from coldtake.errors import PassageError
from coldtake.music import mei
from coldtake.music.abc.signs import ARTICULATIONS, DYNAMICS
from coldtake.music.abc.tune import AbcBar, AbcVoice, Head, Tune, VoiceEvent
from coldtake.music.abc.values import part_id, sounding, split
from coldtake.music.mei import Element

_CONTROLS = {"trill": "trill", "roll": "turn", "turn": "turn", "fermata": "fermata"}
_CONTROLS |= {"lowermordent": "mordent", "mordent": "mordent", "uppermordent": "mordent"}
_CONTROLS |= {"pralltriller": "mordent", "invertedturn": "turn", "arpeggio": "arpeg"}
_FUNCS = {"dacapo": "daCapo", "dalsegno": "dalSegno", "fine": "fine", "segno": "segno"}
_FUNCS |= {"coda": "coda", "tocoda": "coda"}
_TEXTS = {"dacapo": "D.C.", "dalsegno": "D.S.", "fine": "Fine", "tocoda": "To Coda"}
_PLACES = {"^": "above", "_": "below"}


def stamp(bar: AbcBar, index: int) -> float:
    """MEI tstamp (beats of the metre, the first is 1) of an event of the first layer."""
    unit = bar.metre.unit or 4
    quarters = sum((sounding(e, bar) for e in bar.layers[0][:index]), Fraction(0))
    return float(1 + quarters * unit / 4)


def articulate(element: Element, event: VoiceEvent) -> None:
    """Articulations belong to the note itself."""
    marks = [ARTICULATIONS[s] for s in event.signs if s in ARTICULATIONS]
    if marks:
        element.set("artic", " ".join(marks))


def around(measure: Element, bar: AbcBar, staff: int) -> None:
    """Chord symbols, texts, dynamics, ornaments and jumps of one bar."""
    for index, event in enumerate(bar.layers[0]):
        for text in event.symbols:
            _symbol(measure, text, staff, stamp(bar, index))
        for sign in event.signs:
            _sign(measure, sign, staff, event, stamp(bar, index))
    if staff == 1:
        for jump in bar.jumps:
            _jump(measure, jump, bar)


def _symbol(measure: Element, text: str, staff: int, at: float) -> None:
    if text[:1] in "^_<>@":
        words = text[1:].strip()
        made = mei.add(measure, "dir", staff=staff, tstamp=f"{at:g}")
        made.set("place", _PLACES.get(text[:1], "above"))
    else:
        words = text.strip()
        made = mei.add(measure, "harm", staff=staff, tstamp=f"{at:g}", place="above")
    made.text = words


def _sign(measure: Element, sign: str, staff: int, event: VoiceEvent, at: float) -> None:
    if sign in DYNAMICS:
        mei.add(measure, "dynam", staff=staff, tstamp=f"{at:g}", place="below").text = sign
    elif sign in _CONTROLS and event.id:
        made = mei.add(measure, _CONTROLS[sign], staff=staff, startid=f"#{event.id}")
        if sign == "uppermordent" or sign == "pralltriller":
            made.set("form", "upper")


def _jump(measure: Element, jump: str, bar: AbcBar) -> None:
    last = jump in ("dacapo", "dalsegno", "fine", "tocoda")
    at = stamp(bar, len(bar.layers[0]) - 1 if last else 0)
    made = mei.add(measure, "repeatMark", staff=1, tstamp=f"{at:g}", place="above")
    made.set("func", _FUNCS[jump])
    if jump in _TEXTS:
        made.text = _TEXTS[jump]


def connect(tune: Tune, section: Element) -> None:
    """Ties and slurs, each in the measure where it begins."""
    measures = {mei.xml_id(m): m for m in mei.all_of(section, "measure")}
    for voice in tune.voices:
        _ties(voice, measures)
        _slurs(voice, measures)


def _located(voice: AbcVoice) -> Iterator[tuple[int, int, VoiceEvent]]:
    """Layer number, bar number from 1, event; layer by layer."""
    for layer in range(max(len(b.layers) for b in voice.bars)):
        for number, bar in enumerate(voice.bars, start=1):
            if layer < len(bar.layers):
                for event in bar.layers[layer]:
                    yield layer, number, event


def _ties(voice: AbcVoice, measures: dict[str, Element]) -> None:
    events = [e for e in _located(voice) if not e[2].grace]
    for index, (layer, bar, event) in enumerate(events):
        after = events[index + 1] if index + 1 < len(events) else None
        for head in event.heads:
            last = _inner_ties(head, event, measures[f"m{bar}"])
            if head.tied:
                target = _same(head, after[2]) if after and after[0] == layer else None
                closes = voice.bars[bar - 1].closes
                other = target or (after[2].heads[0] if after and after[2].heads else None)
                if not (closes and bar < len(voice.bars) and target is None):
                    _tie(measures[f"m{bar}"], last, head, target, other)
                else:
                    mei.add(measures[f"m{bar}"], "tie", startid=f"#{last}", tstamp2="0m+1")


def _inner_ties(head: Head, event: VoiceEvent, measure: Element) -> str:
    """Tie the noteheads that one length needed; the id of the last."""
    count = 1 if event.grace else len(split(event.length))
    for part in range(count - 1):
        first, second = part_id(head.id, part), part_id(head.id, part + 1)
        mei.add(measure, "tie", startid=f"#{first}", endid=f"#{second}")
    return part_id(head.id, count - 1)


def _same(head: Head, event: VoiceEvent) -> Head | None:
    same = (
        h
        for h in event.heads
        if (h.step, h.octave, h.alter) == (head.step, head.octave, head.alter)
    )
    return next(same, None)


def _tie(measure: Element, last: str, head: Head, target: Head | None, other: Head | None) -> None:
    """A tie to an equal note; between unequal ones the same sign is drawn, and is a slur."""
    if target is not None:
        mei.add(measure, "tie", startid=f"#{last}", endid=f"#{target.id}")
    elif other is not None:
        mei.add(measure, "slur", startid=f"#{last}", endid=f"#{other.id}")
    else:
        raise head.place.error(
            "this tie leads to no note.", "Use “-” only between two notes: “c-c”."
        )


def _slurs(voice: AbcVoice, measures: dict[str, Element]) -> None:
    open_slurs: list[tuple[str, int]] = []
    for _, bar, event in _located(voice):
        if not event.id or not event.heads:
            continue
        for _ in range(event.slur_ends):
            if open_slurs and open_slurs[-1][0] != event.id:
                start, where = open_slurs.pop()
                made = mei.add(measures[f"m{where}"], "slur", startid=f"#{start}")
                made.set("endid", f"#{event.id}")
            elif open_slurs:
                open_slurs.pop()
        open_slurs += [(event.id, bar)] * event.slur_starts


def state_order(text: str, parts: list[tuple[str, str]], section: Element) -> None:
    """P: in the header: the order in which the parts are played."""
    by_part: dict[str, list[str]] = {}
    now = ""
    for name, measure in parts:
        now = name or now
        by_part.setdefault(now, []).append(measure)
    names = _spelt_out(text)
    missing = next((n for n in names if n not in by_part), None)
    if missing is not None:
        raise PassageError(
            f"the order of parts “{text}” names a part {missing} that is not marked.",
            where="line P:",
            remedy=f"Mark where it begins with “P:{missing}”.",
        )
    plist = " ".join(f"#{m}" for n in names for m in by_part[n])
    section.insert(0, mei.make("expansion", plist=plist))


def _spelt_out(text: str) -> str:
    """Each part once per playing: "A2(BC)2" is AABCBC."""
    text = re.sub(r"[\s.]", "", text)
    for _ in range(10):
        text, changed = re.subn(r"\(([A-Za-z]*)\)(\d?)", lambda m: m[1] * int(m[2] or 1), text)
        if not changed:
            break
    text = re.sub(r"([A-Za-z])(\d)", lambda m: m[1] * int(m[2]), text)
    if not re.fullmatch(r"[A-Za-z]{0,500}", text):
        raise PassageError(
            f"“{text[:40]}” is not an order of parts.", where="line P:", remedy="Write “P:AABB”."
        )
    return text
