"""A tune as MEI: ids in reading order, measures side by side, tempo marks."""

from collections.abc import Iterable, Iterator
from fractions import Fraction

from coldtake.music import mei
from coldtake.music.abc import ornaments
from coldtake.music.abc.layer import LayerWriter
from coldtake.music.abc.read import read_tune
from coldtake.music.abc.signatures import change, clef, key_signature, metre_signature
from coldtake.music.abc.tune import AbcBar, AbcKey, AbcTempo, AbcVoice, Metre, Tune, VoiceEvent
from coldtake.music.abc.values import bar_length, note_value
from coldtake.music.mei import Element
from coldtake.music.theory.tempo import note_sign


def abc_to_mei(text: str) -> str:
    """One ABC tune as MEI; raises PassageError with line and column."""
    return to_mei(read_tune(text))


def to_mei(tune: Tune) -> str:
    """MEI text of a tune."""
    number_heads(tune)
    mark_ties(tune)
    root = mei.make("mei", meiversion="5.0")
    _head(root, tune)
    body = mei.add(mei.add(root, "music"), "body")
    score = mei.add(mei.add(body, "mdiv"), "score")
    _opening(score, tune)
    section = mei.add(score, "section", id="s1")
    MeasureWriter(tune, section).write()
    return mei.write(root)


def _head(root: Element, tune: Tune) -> None:
    file_desc = mei.add(mei.add(root, "meiHead"), "fileDesc")
    mei.add(mei.add(file_desc, "titleStmt"), "title").text = tune.title
    mei.add(file_desc, "pubStmt")


def number_heads(tune: Tune) -> None:
    """Ids n1, n2 ... in the order of the bars, voice by voice within a bar."""
    count = 0
    for index in range(max(len(v.bars) for v in tune.voices)):
        for voice in tune.voices:
            for event in _events(voice.bars[index : index + 1]):
                for head in event.heads:
                    count += 1
                    head.id = f"n{count}"
                event.id = event.heads[0].id if len(event.heads) == 1 else f"e{count}.{index}"


def _events(bars: Iterable[AbcBar]) -> Iterator[VoiceEvent]:
    return (event for bar in bars for layer in bar.layers for event in layer)


def mark_ties(tune: Tune) -> None:
    """A tie before repeat endings leads into the first note of each of them."""
    for voice in tune.voices:
        for index, bar in enumerate(voice.bars[:-1]):
            last = next((e for e in reversed(bar.layers[0]) if not e.grace), None)
            if last is None or not any(h.tied for h in last.heads):
                continue
            if bar.ending == voice.bars[index + 1].ending:
                continue
            tied = {(h.step, h.octave) for h in last.heads if h.tied}
            _mark_stops(voice, index + 1, tied)


def _mark_stops(voice: AbcVoice, first: int, tied: set[tuple[str, int]]) -> None:
    for index in range(first, len(voice.bars)):
        bar, before = voice.bars[index], voice.bars[index - 1]
        if not bar.ending:
            return
        start = next((e for e in bar.layers[0] if not e.grace), None)
        if bar.ending != before.ending and start is not None:
            for head in start.heads:
                head.tie_stop = head.tie_stop or (head.step, head.octave) in tied


def _opening(score: Element, tune: Tune) -> None:
    definition = mei.add(score, "scoreDef")
    group = mei.add(definition, "staffGrp")
    if len(tune.voices) > 1:
        group.set("symbol", "bracket")
        group.set("bar.thru", "true")
    for n, voice in enumerate(tune.voices, start=1):
        staff = mei.add(group, "staffDef", n=n, lines=5)
        if voice.label:
            mei.add(staff, "label").text = voice.label
        if voice.transpose:
            staff.set("trans.semi", str(voice.transpose))
            staff.set("trans.diat", str(_diatonic(voice.transpose)))
        staff.append(clef(voice.clef))
        staff.append(key_signature(voice.key))
        if tune.metre.unit:
            staff.append(metre_signature(tune.metre))


def _diatonic(semitones: int) -> int:
    """Steps of the usual interval of so many semitones (2 semitones are a second)."""
    octaves, within = divmod(abs(semitones), 12)
    steps = 7 * octaves + (0, 1, 1, 2, 2, 3, 4, 4, 5, 5, 6, 6)[within]
    return steps if semitones >= 0 else -steps


class MeasureWriter:
    """Writes the bars of all voices side by side."""

    def __init__(self, tune: Tune, section: Element) -> None:
        self.tune, self.section = tune, section
        self._number = 0
        self._short_before = Fraction(0)
        self._parts: list[tuple[str, str]] = []
        self._ending = ""
        self._parent = section

    def write(self) -> None:
        """All measures."""
        count = max(len(v.bars) for v in self.tune.voices)
        for index in range(count):
            self._measure(index)
        ornaments.connect(self.tune, self.section)
        if self.tune.order:
            ornaments.state_order(self.tune.order, self._parts, self.section)

    def _measure(self, index: int) -> None:
        bars = [v.bars[index] if index < len(v.bars) else None for v in self.tune.voices]
        lead = next(bar for bar in bars if bar is not None)
        self._enter_ending(index, lead)
        self._announce(bars)
        measure = mei.add(self._parent, "measure", id=f"m{index + 1}", n=self._label(lead, index))
        self._parts.append((lead.part, f"m{index + 1}"))
        if lead.opens:
            measure.set("left", "rptstart")
        right = "rptend" if lead.closes else lead.right
        measure.set("right", right)
        for n, bar in enumerate(bars, start=1):
            staff = mei.add(measure, "staff", n=n)
            for number, layer in enumerate(bar.layers if bar else [[]], start=1):
                LayerWriter(bar, number == 1).write(mei.add(staff, "layer", n=number), layer, lead)
        for n, bar in enumerate(bars, start=1):
            if bar is not None:
                ornaments.around(measure, bar, n)
        self._tempi(measure, bars)

    def _enter_ending(self, index: int, lead: AbcBar) -> None:
        """An ending lasts until a double, final or repeat bar line (ABC 2.1, section 4.9)."""
        before = (
            self.tune.voices[0].bars[index - 1]
            if 0 < index <= len(self.tune.voices[0].bars)
            else None
        )
        over = before is not None and (before.closes or before.right in ("dbl", "end"))
        if lead.ending:
            self._ending = lead.ending
            self._parent = mei.add(self.section, "ending", id=f"x{index + 1}", n=lead.ending)
        elif self._ending and (over or lead.opens):
            self._ending, self._parent = "", self.section

    def _label(self, bar: AbcBar, index: int) -> str:
        """Printed number: 0 for a pick-up; two parts of one bar share theirs."""
        full, held = bar.metre.length * 4, bar_length(bar)
        short = 0 < held < full
        if index == 0 and short and len(self.tune.voices[0].bars) > 1:
            return "0"
        if not (short and self._short_before and self._short_before + held == full):
            self._number += 1
            self._short_before = held if short else Fraction(0)
        else:
            self._short_before = Fraction(0)
        return str(self._number)

    def _announce(self, bars: list[AbcBar | None]) -> None:
        """New metres and keys at the start of a bar stand before the measure."""
        lead = next(bar for bar in bars if bar is not None)
        metres = [c.value for c in lead.changes if c.index == 0 and isinstance(c.value, Metre)]
        keys = {
            n: c.value
            for n, bar in enumerate(bars, start=1)
            for c in (bar.changes if bar else [])
            if c.index == 0 and isinstance(c.value, AbcKey)
        }
        if not keys and not (metres and metres[-1].unit):
            return
        definition = mei.add(self._parent, "scoreDef")
        if metres and metres[-1].unit:
            definition.append(metre_signature(metres[-1]))
        group = mei.add(definition, "staffGrp") if keys else definition
        for n, key in keys.items():
            mei.add(group, "staffDef", n=n).append(change(key))

    def _tempi(self, measure: Element, bars: list[AbcBar | None]) -> None:
        for n, bar in enumerate(bars, start=1):
            for at, tempo in bar.tempi if bar else []:
                stamp = ornaments.stamp(bar, at) if bar else 1.0
                measure.append(tempo_mark(tempo, n, stamp))


def tempo_mark(tempo: AbcTempo, staff: int, stamp: float) -> Element:
    """MEI of a tempo; a beat that is no note value is stated in `type`."""
    made = mei.make("tempo", staff=staff, tstamp=f"{stamp:g}", place="above")
    words = [tempo.words] if tempo.words else []
    if tempo.per_minute is not None:
        sign = " ".join(note_sign(p) for p in tempo.parts)
        words.append(f"{sign} = {float(tempo.per_minute):g}")
        made.set("midi.bpm", f"{float(tempo.unit * 4 * tempo.per_minute):.6g}")
        value = note_value(tempo.unit)
        if value is not None:
            made.set("mm", f"{float(tempo.per_minute):g}")
            made.set("mm.unit", value[0])
            if value[1]:
                made.set("mm.dots", str(value[1]))
        else:
            beat = tempo.unit * 4
            mei.add_type(made, f"beats-{beat.numerator}-{beat.denominator}")
    made.text = " ".join(words)
    return made
