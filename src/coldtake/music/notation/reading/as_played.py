"""From written bars to a passage as played: repeats out, ties joined, grace notes given time.

- Ties join when the second notehead follows exactly at the end of the first, also across a jump.
- A grace note sounds before its main note and takes its time from what precedes it, at most an
  eighth of a beat each and never more than half of the neighbour; at the very beginning, where
  nothing precedes, it takes the time from its main note (common practice, no source).
"""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from coldtake.music.notation.reading.bar_notes import BarContent, WrittenNote
from coldtake.music.notation.reading.written_bars import StaffState, WrittenBar
from coldtake.music.passage import Bar, PassageNote

GRACE_BEATS = Fraction(1, 8)


@dataclass(slots=True)
class _Sounding:
    """A note on its way to a PassageNote."""

    written: WrittenNote
    onset: Fraction
    length: Fraction
    bar_index: int
    playing: int
    heads: list[str] = field(default_factory=list)

    @property
    def end(self) -> Fraction:
        return self.onset + self.length

    @property
    def last_head(self) -> str:
        return self.heads[-1]


@dataclass(frozen=True, slots=True)
class Ties:
    """Which notehead goes on into which; `open`: into whatever follows; `stops`: ends a tie."""

    targets: dict[str, str]
    open: frozenset[str]
    stops: frozenset[str]

    def joins(self, before: str, after: str) -> bool:
        """True when a tie leads from one notehead to another that follows it at once."""
        if before in self.targets:
            return self.targets[before] == after or after in self.stops
        return before in self.open


def play(
    bars: Sequence[WrittenBar],
    contents: Sequence[BarContent],
    order: Sequence[int],
    ties: Ties,
    earlier: Sequence[int] = (),
) -> tuple[tuple[PassageNote, ...], tuple[Bar, ...]]:
    """Notes and bars in the order of playing; `earlier` bars only count towards the ids."""
    played_bars = _bars(bars, contents, order)
    layers: dict[tuple[int, int], list[_Sounding]] = defaultdict(list)
    count = Counter(note.id for place in earlier for note in contents[place].notes)
    for index, place in enumerate(order):
        start = played_bars[index][1]
        for note in contents[place].notes:
            count[note.id] += 1
            sounding = _Sounding(
                note, start + note.onset, note.length, index, count[note.id], [note.id]
            )
            layers[note.staff, note.layer].append(sounding)
    joined = _join([n for layer in layers.values() for n in layer], ties)
    for key, layer in layers.items():
        layers[key] = [n for n in layer if id(n) in joined]
        _give_graces_time(layers[key])
    notes = [_finished(n, bars[order[n.bar_index]].label) for v in layers.values() for n in v]
    notes.sort(key=lambda n: (n.onset_beats, n.pitch, n.staff, n.voice))
    return tuple(notes), tuple(bar for bar, _ in played_bars)


def _bars(
    bars: Sequence[WrittenBar], contents: Sequence[BarContent], order: Sequence[int]
) -> list[tuple[Bar, Fraction]]:
    at = Fraction(0)
    found = []
    for index, place in enumerate(order):
        state = next(iter(bars[place].staves.values()), StaffState())
        length = contents[place].length
        bar = Bar(index, bars[place].label, float(at), float(length), state.metre, state.fifths)
        found.append((bar, at))
        at += length
    return found


def _join(notes: list[_Sounding], ties: Ties) -> set[int]:
    """Merge tied notes into their first; ids (of objects) of the notes that remain."""
    notes = sorted(notes, key=lambda n: (n.onset, n.length))
    running: dict[tuple[int, int], list[_Sounding]] = defaultdict(list)
    remain: set[int] = set()
    for note in notes:
        same = running[note.written.staff, note.written.pitch]
        before = next(
            (b for b in same if b.end == note.onset and ties.joins(b.last_head, note.written.id)),
            None,
        )
        if before is None or note.written.grace:
            remain.add(id(note))
            same[:] = [b for b in same if b.end >= note.onset]
            same.append(note)
        else:
            before.length += note.length
            before.heads.append(note.written.id)
    return remain


def _give_graces_time(layer: list[_Sounding]) -> None:
    """Place the grace notes of one voice before their main notes, in time linear in the notes."""
    waiting: list[list[_Sounding]] = []
    main: list[_Sounding] = []
    together: dict[Fraction, list[_Sounding]] = defaultdict(list)
    for note in layer:
        if not note.written.grace:
            together[note.onset].append(note)
    for note in layer:
        if note.written.grace:
            _add_grace(waiting, note)
            continue
        if main and main[0].onset == note.onset:
            main.append(note)
            continue
        if waiting:
            _place(waiting, main, note.onset, together[note.onset])
            waiting = []
        main = [note]
    if waiting:
        _place(waiting, main, main[0].end if main else waiting[0][0].onset, [])


def _add_grace(waiting: list[list[_Sounding]], note: _Sounding) -> None:
    """Grace notes of one chord sound together."""
    place = (note.bar_index, note.written.event)
    last = waiting[-1][0] if waiting else None
    if last is not None and (last.bar_index, last.written.event) == place:
        waiting[-1].append(note)
    else:
        waiting.append([note])


def _place(
    waiting: list[list[_Sounding]],
    before: list[_Sounding],
    at: Fraction,
    mains: list[_Sounding],
) -> None:
    end = max((n.end for n in before), default=Fraction(0))
    room = at - end if end < at else (at - before[0].onset) / 2 if before else Fraction(0)
    if room > 0:
        each = min(GRACE_BEATS, room / len(waiting))
        start = at - each * len(waiting)
        for note in before:
            note.length = min(note.length, start - note.onset)
    else:
        shortest = min((n.length for n in mains), default=Fraction(1))
        each = min(GRACE_BEATS, shortest / 2 / len(waiting))
        start = at
        for note in mains:
            note.onset += each * len(waiting)
            note.length -= each * len(waiting)
    for index, group in enumerate(waiting):
        for note in group:
            note.onset, note.length = start + each * index, each


def _finished(note: _Sounding, label: str) -> PassageNote:
    written = note.written
    return PassageNote(
        id=written.id if note.playing == 1 else f"{written.id}~{note.playing}",
        notation_ids=tuple(note.heads),
        onset_beats=float(note.onset),
        duration_beats=float(note.length),
        pitch=written.pitch,
        written_pitch=written.written_pitch,
        name=written.name,
        bar=label,
        bar_index=note.bar_index,
        staff=written.staff,
        voice=written.layer,
        grace=written.grace,
    )
