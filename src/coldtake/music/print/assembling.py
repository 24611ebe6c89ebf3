"""Symbols of a staff to bars: pitches under clef, key and accidentals, lengths, and doubts.

The rules of accidentals are common practice, no source: one holds for its own line or space until
the bar line, and over it along a tie. Nothing that does not add up is mended; it is marked.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from coldtake.music.print.network import SeenSymbol
from coldtake.music.print.records import PrintedBar, PrintedNote
from coldtake.music.print.symbols import ACCIDENTALS, BARLINES

CONFIDENT = 0.90  # a bar below is doubtful; set by judgement, not tuned
_WITNESSES = 2  # bars that speak against a time signature
_SURE = 0.97  # of a clef or key that differs from the staff before
_BOTTOM_LINE = {
    "G": 30,
    "G8": 23,
    "F": 18,
    "C3": 24,
    "C4": 22,
}  # octave * 7 + step: E4, E3, G2, F3, D3
_CHROMA = (0, 2, 4, 5, 7, 9, 11)
_ORDER_OF_SHARPS = (3, 0, 4, 1, 5, 2, 6)  # F C G D A E B as steps above C
_METRES = {"C": "4/4", "cut": "2/2"}
_DOTTED = (Fraction(1), Fraction(3, 2), Fraction(7, 4))
_LONGEST_REST = 200  # bars


@dataclass
class PrintState:
    """What is in force, from one staff of a part to its next."""

    clef: str = "G"
    key_fifths: int = 0
    time: str = ""
    tied: dict[int, int] = field(default_factory=dict)  # step to alteration, over the bar line
    clef_confidence: float = 0.0  # that of the sign itself: all that follows hangs on it
    key_confidence: float = 1.0

    def altered(self, step: int) -> int:
        """What the key does to a step, in semitones."""
        count = abs(self.key_fifths)
        order = _ORDER_OF_SHARPS if self.key_fifths > 0 else _ORDER_OF_SHARPS[::-1]
        return (1 if self.key_fifths > 0 else -1) if step % 7 in order[:count] else 0


def bar_beats(time: str) -> Fraction | None:
    """Quarter notes of a whole bar; None where no metre is known."""
    if not time:
        return None
    count, unit = _METRES.get(time, time).split("/")
    return Fraction(4 * int(count), int(unit))


@dataclass
class _Open:
    """The bar that is being read."""

    notes: list[PrintedNote] = field(default_factory=list)
    written: dict[int, int] = field(default_factory=dict)  # step to alteration, in this bar
    confidence: float = 1.0
    doubts: list[str] = field(default_factory=list)
    left: float = 0.0
    accidental: int | None = None
    rests: str | None = None  # digits of a rest of several bars
    ending: int = 0
    starts_repeat: bool = False


class _Assembler:
    """Goes through the symbols of one staff."""

    def __init__(self, state: PrintState) -> None:
        self.state, self.bars = state, list[PrintedBar]()
        self.bar = _Open()
        # a staff without a clef was not read rightly; one without key signature has none
        self.before = (state.clef, state.key_fifths, state.clef_confidence)
        state.clef_confidence, state.key_fifths, state.key_confidence = 0.0, 0, 1.0

    def take(self, symbol: SeenSymbol) -> None:
        """Go on by one symbol."""
        kind, _, value = symbol.name.partition(".")
        bar = self.bar
        if symbol.name in BARLINES:
            self._line(symbol)
            return
        bar.confidence *= symbol.confidence
        if kind in ("clef", "key", "time"):
            self._in_force(kind, value, symbol.confidence)
        elif kind == "accidental":
            bar.accidental = ACCIDENTALS[value]
        elif kind == "note":
            length, position = value.split(".")
            self._note(int(position), int(length), grace=False)
        elif kind == "grace":
            self._note(int(value), 8, grace=True)
        elif kind == "rest":
            bar.notes.append(PrintedNote(None, 4 / int(value), length=int(value)))
        elif kind in ("rests", "digit"):
            bar.rests = (bar.rests or "") + value
        elif kind == "ending":
            bar.ending = int(value)
        else:
            self._belonging(kind)

    def _in_force(self, kind: str, value: str, confidence: float) -> None:
        if kind == "clef":
            self.state.clef, self.state.clef_confidence = value, confidence
        elif kind == "key":
            self.state.key_fifths, self.state.key_confidence = int(value), confidence
        else:
            self.state.time = value

    def _note(self, position: int, length: int, *, grace: bool) -> None:
        bar = self.bar
        step = _BOTTOM_LINE[self.state.clef] + position
        if bar.accidental is not None:
            alter = bar.written[step] = bar.accidental
        else:
            alter = bar.written.get(step, self.state.altered(step))
            # a tie carries its alteration to the next note only
            alter = self.state.tied.get(step, alter) if not grace else alter
        if not grace:
            self._check_tie(step)
            self.state.tied = {}
        bar.accidental = None
        pitch = 12 * (step // 7 + 1) + _CHROMA[step % 7] + alter
        beats = 0.0 if grace else 4 / length
        bar.notes.append(
            PrintedNote(pitch, beats, grace=grace, step=step, alter=alter, length=length)
        )

    def _check_tie(self, step: int) -> None:
        if self.state.tied and step not in self.state.tied:
            self.bar.doubts.append("tie")

    def _belonging(self, kind: str) -> None:
        """A sign that belongs to the note before it."""
        notes = self.bar.notes
        if not notes:
            self.bar.doubts.append("uncertain")
            return
        note = notes[-1]
        if kind == "dot" and note.dots < 2 and not note.grace:
            notes[-1] = _lengthened(replace(note, dots=note.dots + 1))
        elif kind == "triplet" and not note.grace:
            notes[-1] = _lengthened(replace(note, triplet=True))
        elif kind == "tie" and note.pitch is not None:
            notes[-1] = replace(note, tie=True)
            self.state.tied = {note.step: note.alter}
        else:
            self.bar.doubts.append("chord" if kind == "chord" else "uncertain")

    def _line(self, symbol: SeenSymbol) -> None:
        bar = self.bar
        bar.confidence *= symbol.confidence
        if bar.notes or bar.rests is not None:
            self._close(symbol.name, symbol.column)
        elif self.bars and symbol.name != "bar":
            self.bars[-1] = replace(self.bars[-1], barline=_meaning(symbol.name))
        self.bar.left = symbol.column
        self.bar.starts_repeat = symbol.name in ("repeat.start", "repeat.both")

    def _close(self, line: str, column: float) -> None:
        bar, state = self.bar, self.state
        if bar.accidental is not None:
            bar.doubts.append("uncertain")
        whole = bar_beats(state.time)
        times = 1
        if bar.rests is not None:
            times = int(bar.rests or 0)
            if bar.notes or not 2 <= times <= _LONGEST_REST:
                bar.doubts.append("rests")  # a 1 is mostly what was seen of a 10
                times = 1
            bar.notes = [_whole_rest(whole)]
        elif len(bar.notes) == 1 and bar.notes[0].pitch is None and bar.notes[0].length == 1:
            bar.notes = [_whole_rest(whole)] if not bar.notes[0].dots else bar.notes
        if state.clef_confidence == 0:
            bar.doubts.append("clef")
        confidence = min(bar.confidence, state.clef_confidence or 0.5, state.key_confidence)
        made = PrintedBar(
            tuple(bar.notes), confidence, tuple(dict.fromkeys(bar.doubts)), state.clef,
            state.key_fifths, state.time, bar.left, column, _meaning(line), bar.ending,
            bar.starts_repeat,
        )  # fmt: skip
        self.bars += [made] * times
        self.bar = _Open(left=column)


def _meaning(line: str) -> str:
    return {"repeat.both": "repeat.end", "repeat.start": "bar"}.get(line, line)


def _whole_rest(whole: Fraction | None) -> PrintedNote:
    return PrintedNote(None, float(whole or 4), length=0)


def _lengthened(note: PrintedNote) -> PrintedNote:
    beats = Fraction(4, note.length) * _DOTTED[note.dots]
    return replace(note, beats=float(beats * Fraction(2, 3) if note.triplet else beats))


def bars_of(symbols: Sequence[SeenSymbol], state: PrintState) -> tuple[PrintedBar, ...]:
    """The bars of one staff; `state` comes from the staff before and goes on to the next.

    A staff repeats the clef and key in force; where they differ from those at the end of the staff
    before and were not seen surely, its bars are doubtful.
    Their doubts are still without those of `marked`, which looks at all bars of a part.
    """
    assembler = _Assembler(state)
    clef, fifths, sure = assembler.before
    time = state.time
    for symbol in symbols:
        assembler.take(symbol)
    if assembler.bar.notes or assembler.bar.rests is not None:
        assembler._close("bar", symbols[-1].column)
        last = assembler.bars[-1]
        assembler.bars[-1] = replace(last, doubts=(*last.doubts, "uncertain"))
    bars = assembler.bars
    if time and _fits_only(bars, time):
        bars = [_in_time(bar, time) for bar in bars]
        bars[0] = replace(bars[0], doubts=(*bars[0].doubts, "metre"))
        state.time = time
    changed = bool(bars) and bool(sure) and (bars[0].clef, bars[0].key_fifths) != (clef, fifths)
    if changed and not _seen_surely(symbols):
        bars = [replace(bar, doubts=(*bar.doubts, "signature")) for bar in bars]
    return tuple(bars)


def _fits_only(bars: Sequence[PrintedBar], time: str) -> bool:
    """Whether a new time signature fits none of a staff's bars, and the one before it all."""
    played = [bar for bar in bars if any(note.length for note in bar.notes)]
    if len({bar.time for bar in bars}) != 1 or len(played) < _WITNESSES:
        return False
    before, now = (float(bar_beats(t) or 0) for t in (time, bars[0].time))
    lengths = [_beats(bar) for bar in played]
    fits = all(abs(length - before) < 1e-6 for length in lengths)
    return fits and not any(abs(length - now) < 1e-6 for length in lengths)


def _in_time(bar: PrintedBar, time: str) -> PrintedBar:
    rest = len(bar.notes) == 1 and bar.notes[0].length == 0
    return replace(bar, time=time, notes=(_whole_rest(bar_beats(time)),) if rest else bar.notes)


def _seen_surely(symbols: Sequence[SeenSymbol]) -> bool:
    """Whether the clef and a key signature that begin a staff are beyond doubt."""
    start = {s.name.partition(".")[0]: s.confidence for s in reversed(symbols[:2])}
    return min(start.get("clef", 0.0), start.get("key", 0.0)) > _SURE


def marked(bars: Sequence[PrintedBar]) -> list[PrintedBar]:
    """The bars of a part with every doubt: lengths that do not add up, and little confidence."""
    usual = _usual_beats(bars)
    out = []
    for number, bar in enumerate(bars):
        doubts = list(bar.doubts)
        known = bar_beats(bar.time)
        whole = usual if known is None else known
        if known is None:
            doubts.append("metre")
        if abs(_beats(bar) - float(whole)) > 1e-6 and not _part_of_a_bar(bars, number, whole):
            doubts.append("length")
        if bar.confidence < CONFIDENT:
            doubts.append("uncertain")
        out.append(replace(bar, doubts=tuple(dict.fromkeys(doubts))))
    return out


def _beats(bar: PrintedBar) -> float:
    return sum(note.beats for note in bar.notes)


def _usual_beats(bars: Sequence[PrintedBar]) -> Fraction:
    counts = Counter(Fraction(_beats(bar)).limit_denominator(96) for bar in bars)
    return counts.most_common(1)[0][0] if counts else Fraction(4)


def _part_of_a_bar(bars: Sequence[PrintedBar], number: int, whole: Fraction) -> bool:
    """A pick-up, or a bar that a repeat sign or a double line divides in two."""
    beats = _beats(bars[number])
    if beats > float(whole):
        return False
    if number == 0:
        return True
    bar = bars[number]
    after = bars[number + 1] if number + 1 < len(bars) else None
    if _halves(bars[number - 1], bar, whole) or (after and _halves(bar, after, whole)):
        return True
    upbeat = _beats(bars[0])
    ends = bar.barline in ("repeat.end", "bar.final") or number == len(bars) - 1
    return ends and abs(upbeat + beats - float(whole)) < 1e-6


def _halves(first: PrintedBar, second: PrintedBar, whole: Fraction) -> bool:
    """Whether a repeat sign or double line between them divides one bar in two."""
    divided = first.barline != "bar" or second.starts_repeat
    return divided and abs(_beats(first) + _beats(second) - float(whole)) < 1e-6
