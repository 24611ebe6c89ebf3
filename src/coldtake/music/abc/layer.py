"""One voice of one bar in MEI: notes, rests, beams, tuplets, grace notes."""

from fractions import Fraction
from itertools import groupby, takewhile

from coldtake.music import mei
from coldtake.music.abc import ornaments
from coldtake.music.abc.signatures import ACCID, change
from coldtake.music.abc.tune import AbcBar, AbcKey, Clef, Head, VoiceEvent
from coldtake.music.abc.values import bar_length, part_id, split
from coldtake.music.mei import Element


class LayerWriter:
    """Writes one layer of one bar."""

    def __init__(self, bar: AbcBar | None, first: bool) -> None:
        self.bar, self.first = bar, first

    def write(self, layer: Element, events: list[VoiceEvent], lead: AbcBar) -> None:
        """All events, in tuplets and beams."""
        if not events or self.bar is None:
            mei.add(layer, "mRest" if not lead.layers[0] or bar_length(lead) else "mSpace")
            return
        changes = {
            c.index: c.value
            for c in self.bar.changes
            if isinstance(c.value, Clef) or (isinstance(c.value, AbcKey) and c.index > 0)
        }
        numbered = list(enumerate(events))
        for (tuplet, _), run in groupby(
            numbered, key=lambda n: (n[1].tuplet, n[0] in changes and n[0])
        ):
            items = [event for _, event in run]
            index = next(i for i, e in numbered if e is items[0])
            if self.first and index in changes:
                layer.append(change(changes[index]))
            parent = layer
            if tuplet:
                p, q = self.bar.tuplets[tuplet]
                parent = mei.add(layer, "tuplet", num=p, numbase=q)
            self._beams(parent, items)
        if self.first and len(events) in changes:
            layer.append(change(changes[len(events)]))

    def _beams(self, parent: Element, events: list[VoiceEvent]) -> None:
        run: list[VoiceEvent] = []
        for event in events:
            if run and not event.joined:
                self._flush(parent, run)
                run = []
            run.append(event)
            if not _beamable(event):
                self._flush(parent, run)
                run = []
        self._flush(parent, run)

    def _flush(self, parent: Element, run: list[VoiceEvent]) -> None:
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

    def _graces(self, parent: Element, graces: list[VoiceEvent]) -> None:
        group = mei.add(parent, "graceGrp", attach="post")
        inside = group if len(graces) < 2 else mei.add(group, "beam")
        for event in graces:
            self._event(inside, event, "8" if len(graces) < 2 else "16")

    def _event(self, parent: Element, event: VoiceEvent, grace_dur: str = "8") -> None:
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

    def _chord(self, parent: Element, event: VoiceEvent, value: tuple[str, int], part: int) -> None:
        chord = mei.add(parent, "chord", id=part_id(event.id, part), **_value(value))
        if event.grace:
            chord.set("grace", event.grace)
        for head in event.heads:
            chord.append(note(head, None, event, part))
        if part == 0:
            ornaments.articulate(chord, event)


def _beamable(event: VoiceEvent) -> bool:
    return event.grace != "" or (event.length < Fraction(1, 4) and not event.whole_bar)


def note(head: Head, value: tuple[str, int] | None, event: VoiceEvent, part: int) -> Element:
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
        made.set("accid", ACCID[head.shown])
    else:
        made.set("accid.ges", ACCID[head.alter])
    if head.tie_stop and part == 0:
        made.set("type", "tie-stop")
    return made


def _value(value: tuple[str, int]) -> dict[str, str | int]:
    return {"dur": value[0], "dots": value[1]} if value[1] else {"dur": value[0]}
