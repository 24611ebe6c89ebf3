"""A tune as MEI: ids in reading order, lengths as note values, beams, tuplets, ties."""

from collections.abc import Iterable, Iterator
from fractions import Fraction
from itertools import groupby, takewhile

from coldtake.music import mei
from coldtake.music.abc import ornaments
from coldtake.music.abc.tune import Bar, Clef, Event, Head, Key, Metre, Tempo, Tune, Voice
from coldtake.music.mei import Element

_ACCID = {0: "n", 1: "s", 2: "x", -1: "f", -2: "ff"}
_NOTE_SIGNS = {Fraction(1): "whole note", Fraction(1, 2): "half note", Fraction(1, 4): "♩"}
_NOTE_SIGNS |= {Fraction(3, 8): "♩.", Fraction(1, 8): "♪", Fraction(3, 4): "half note."}
_NOTE_SIGNS |= {Fraction(3, 16): "♪.", Fraction(1, 16): "16th note"}


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


def _events(bars: Iterable[Bar]) -> Iterator[Event]:
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


def _mark_stops(voice: Voice, first: int, tied: set[tuple[str, int]]) -> None:
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


def clef(value: Clef) -> Element:
    """MEI of a clef."""
    made = mei.make("clef", shape=value.shape, line=value.line)
    if value.octave:
        made.set("dis", "8")
        made.set("dis.place", "below" if value.octave < 0 else "above")
    return made


def key_signature(key: Key) -> Element:
    """MEI of a key signature; an unusual one lists its accidentals."""
    if key.fifths is not None:
        sign = "s" if key.fifths > 0 else "f"
        return mei.make("keySig", sig=f"{abs(key.fifths)}{sign}" if key.fifths else "0")
    made = mei.make("keySig", sig="mixed")
    for step, alter in key.alters:
        mei.add(made, "keyAccid", pname=step, accid=_ACCID[alter])
    return made


def metre_signature(metre: Metre) -> Element:
    """MEI of a time signature."""
    made = mei.make("meterSig", count="+".join(str(b) for b in metre.beats), unit=metre.unit)
    if metre.symbol:
        made.set("sym", metre.symbol)
    return made


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

    def _enter_ending(self, index: int, lead: Bar) -> None:
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

    def _label(self, bar: Bar, index: int) -> str:
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

    def _announce(self, bars: list[Bar | None]) -> None:
        """New metres and keys at the start of a bar stand before the measure."""
        lead = next(bar for bar in bars if bar is not None)
        metres = [c.value for c in lead.changes if c.index == 0 and isinstance(c.value, Metre)]
        keys = {
            n: c.value
            for n, bar in enumerate(bars, start=1)
            for c in (bar.changes if bar else [])
            if c.index == 0 and isinstance(c.value, Key)
        }
        if not keys and not (metres and metres[-1].unit):
            return
        definition = mei.add(self._parent, "scoreDef")
        if metres and metres[-1].unit:
            definition.append(metre_signature(metres[-1]))
        group = mei.add(definition, "staffGrp") if keys else definition
        for n, key in keys.items():
            mei.add(group, "staffDef", n=n).append(_change(key))

    def _tempi(self, measure: Element, bars: list[Bar | None]) -> None:
        for n, bar in enumerate(bars, start=1):
            for at, tempo in bar.tempi if bar else []:
                stamp = ornaments.stamp(bar, at) if bar else 1.0
                measure.append(tempo_mark(tempo, n, stamp))


def tempo_mark(tempo: Tempo, staff: int, stamp: float) -> Element:
    """MEI of a tempo; a beat that is no note value is stated in `type`."""
    made = mei.make("tempo", staff=staff, tstamp=f"{stamp:g}", place="above")
    words = [tempo.words] if tempo.words else []
    if tempo.per_minute is not None:
        sign = " ".join(_NOTE_SIGNS.get(p, str(p)) for p in tempo.parts)
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


def bar_length(bar: Bar) -> Fraction:
    """What the fullest layer holds [quarter notes]."""
    return max(sum((sounding(e, bar) for e in layer), Fraction(0)) for layer in bar.layers)


def sounding(event: Event, bar: Bar) -> Fraction:
    """Sounding length of an event [quarter notes]."""
    if event.grace:
        return Fraction(0)
    p, q = bar.tuplets.get(event.tuplet, (1, 1))
    return event.length * 4 * Fraction(q, p)


def note_value(length: Fraction) -> tuple[str, int] | None:
    """MEI dur and dots of a length in whole notes, or None when it is no single value."""
    for dots in range(4):
        value = length / (2 - Fraction(1, 2**dots))
        if value.numerator == 1 and value.denominator & (value.denominator - 1) == 0:
            if value.denominator <= 256:
                return str(value.denominator), dots
        elif value in (2, 4):
            return {2: "breve", 4: "long"}[int(value)], dots
    return None


def split(length: Fraction) -> list[tuple[str, int]]:
    """A length as values to be tied together, longest first; [] when it cannot be written."""
    found: list[tuple[str, int]] = []
    while length > 0 and len(found) < 32:
        whole = note_value(length)
        if whole is not None:
            return [*found, whole]
        power = Fraction(4)
        while power > length and power > Fraction(1, 256):
            power /= 2
        value = note_value(power)
        if power > length or value is None:
            return []
        found.append(value)
        length -= power
    return [] if length > 0 else found


class LayerWriter:
    """Writes one layer of one bar."""

    def __init__(self, bar: Bar | None, first: bool) -> None:
        self.bar, self.first = bar, first

    def write(self, layer: Element, events: list[Event], lead: Bar) -> None:
        """All events, in tuplets and beams."""
        if not events or self.bar is None:
            mei.add(layer, "mRest" if not lead.layers[0] or bar_length(lead) else "mSpace")
            return
        changes = {
            c.index: c.value
            for c in self.bar.changes
            if isinstance(c.value, Clef) or (isinstance(c.value, Key) and c.index > 0)
        }
        numbered = list(enumerate(events))
        for (tuplet, _), run in groupby(
            numbered, key=lambda n: (n[1].tuplet, n[0] in changes and n[0])
        ):
            items = [event for _, event in run]
            index = next(i for i, e in numbered if e is items[0])
            if self.first and index in changes:
                layer.append(_change(changes[index]))
            parent = layer
            if tuplet:
                p, q = self.bar.tuplets[tuplet]
                parent = mei.add(layer, "tuplet", num=p, numbase=q)
            self._beams(parent, items)
        if self.first and len(events) in changes:
            layer.append(_change(changes[len(events)]))

    def _beams(self, parent: Element, events: list[Event]) -> None:
        run: list[Event] = []
        for event in events:
            if run and not event.joined:
                self._flush(parent, run)
                run = []
            run.append(event)
            if not _beamable(event):
                self._flush(parent, run)
                run = []
        self._flush(parent, run)

    def _flush(self, parent: Element, run: list[Event]) -> None:
        """Write a run of joined notes: short ones from the first to the last under one beam."""
        short = [i for i, e in enumerate(run) if e.heads and not e.grace and _beamable(e)]
        inside = parent
        for index, event in enumerate(run):
            if len(short) > 1 and index == short[0]:
                inside = mei.add(parent, "beam")
            if not event.grace:
                self._event(inside, event)
            elif index == 0 or not run[index - 1].grace:
                self._graces(inside, list(takewhile(lambda e: e.grace, run[index:])))
            if len(short) > 1 and index == short[-1]:
                inside = parent

    def _graces(self, parent: Element, graces: list[Event]) -> None:
        group = mei.add(parent, "graceGrp", attach="post")
        inside = group if len(graces) < 2 else mei.add(group, "beam")
        for event in graces:
            self._event(inside, event, "8" if len(graces) < 2 else "16")

    def _event(self, parent: Element, event: Event, grace_dur: str = "8") -> None:
        if event.whole_bar:
            mei.add(parent, "mSpace" if event.hidden else "mRest")
            return
        values = [(grace_dur, 0)] if event.grace else split(event.length)
        if not values:
            raise event.place.error(
                f"a length of {event.length} cannot be written.", "Use a tuplet such as “(3abc”."
            )
        for part, value in enumerate(values):
            if not event.heads:
                mei.add(parent, "space" if event.hidden else "rest", **_value(value))
            elif len(event.heads) == 1:
                parent.append(note(event.heads[0], value, event, part))
            else:
                self._chord(parent, event, value, part)

    def _chord(self, parent: Element, event: Event, value: tuple[str, int], part: int) -> None:
        chord = mei.add(parent, "chord", id=part_id(event.id, part), **_value(value))
        if event.grace:
            chord.set("grace", event.grace)
        for head in event.heads:
            chord.append(note(head, None, event, part))
        if part == 0:
            ornaments.articulate(chord, event)


def _beamable(event: Event) -> bool:
    return event.grace != "" or (event.length < Fraction(1, 4) and not event.whole_bar)


def _value(value: tuple[str, int]) -> dict[str, str | int]:
    return {"dur": value[0], "dots": value[1]} if value[1] else {"dur": value[0]}


def part_id(name: str, part: int) -> str:
    """Id of the further noteheads of a length that needs several."""
    return name if part == 0 else f"{name}.{part + 1}"


def note(head: Head, value: tuple[str, int] | None, event: Event, part: int) -> Element:
    """MEI of one notehead; value None inside a chord."""
    made = mei.make("note", id=part_id(head.id, part), pname=head.step, oct=head.octave)
    if value is not None:
        for key, text in _value(value).items():
            made.set(key, str(text))
        if event.grace:
            made.set("grace", event.grace)
        if part == 0:
            ornaments.articulate(made, event)
    if head.shown is not None and part == 0:
        made.set("accid", _ACCID[head.shown])
    else:
        made.set("accid.ges", _ACCID[head.alter])
    if head.tie_stop and part == 0:
        made.set("type", "tie-stop")
    return made


def _change(value: Key | Clef | Metre) -> Element:
    if isinstance(value, Clef):
        return clef(value)
    if isinstance(value, Metre):
        return metre_signature(value)
    made = key_signature(value)
    made.set("cancelaccid", "before")
    return made
