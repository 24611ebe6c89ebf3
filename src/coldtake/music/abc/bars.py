"""The bar that a voice is in: what is put into it, what its end requires, and its accidentals.

Accidentals hold to the end of the bar in all octaves (ABC 2.1, section 11.3, default "pitch");
what is printed follows the usual rule of the page, where they hold in their own octave only.
"""

from fractions import Fraction

from coldtake.music.abc.tune import (
    AbcBar,
    AbcKey,
    AbcVoice,
    Change,
    Clef,
    Head,
    Metre,
    SourcePosition,
    VoiceEvent,
)
from coldtake.music.page_limits import MOST_NOTES_IN_A_BAR

_LONGEST = Fraction(64)


class Accidentals:
    """The alterations in force in one bar of one voice. propagate: not, octave or pitch."""

    def __init__(self, propagate: str) -> None:
        self.propagate = propagate
        self.key = AbcKey()
        self._altered: dict[tuple[str, int], int] = {}
        self._shown: dict[tuple[str, int], int] = {}

    def clear(self) -> None:
        """A bar line ends them."""
        self._altered.clear()
        self._shown.clear()

    def head(
        self,
        step: str,
        octave: int,
        own: int | None,
        before: VoiceEvent | None,
        place: SourcePosition,
    ) -> Head:
        """A notehead; own: its written alteration; before: a note that may be tied into it."""
        where = (step, octave if self.propagate == "octave" else 0)
        alter = self._altered.get(where, self.key.alter(step)) if own is None else own
        tied = _tied_into(before, step, octave) if own is None else None
        if tied is not None:
            return Head(step, octave, tied, None, place)
        if own is not None and self.propagate != "not":
            self._altered[where] = own
        printed = self._shown.get((step, octave), self.key.alter(step))
        shown = alter if own is not None or alter != printed else None
        if shown is not None:
            self._shown[step, octave] = shown
        return Head(step, octave, alter, shown, place)


def _tied_into(before: VoiceEvent | None, step: str, octave: int) -> int | None:
    """Alteration that a tie carries over, or None."""
    for head in before.heads if before is not None else []:
        if head.tied and (head.step, head.octave) == (step, octave):
            return head.alter
    return None


class BarKeeper:
    """Bars of one voice while they are written."""

    def __init__(self, voice: AbcVoice, metre: Metre, unit: Fraction, propagate: str) -> None:
        self.voice, self.metre, self.unit = voice, metre, unit
        self.accidentals = Accidentals(propagate)
        self.octave = 0
        self.bar = AbcBar(metre=metre)
        self.started = False
        self._tuplet = (0, 0)
        self._tuplets = 0
        self._tuplet_place = SourcePosition(1, 1)
        self._broken: tuple[Fraction, SourcePosition] | None = None
        self._grace = ""
        self._space = True
        self._signs: list[str] = []
        self._symbols: list[str] = []
        self._slur_starts = 0
        self._slurs: list[SourcePosition] = []
        self._last: VoiceEvent | None = None
        self._line, self._at, self._number = "", 0, 1
        self._closed_bar = False
        self._metre_due = False

    def _change(self, value: AbcKey | Clef | Metre) -> None:
        self.bar.changes.append(Change(len(self.bar.layers[-1]), value))

    def _add(self, event: VoiceEvent) -> None:
        """Put an event into the bar, with everything that was waiting for it."""
        if not 0 < event.length <= _LONGEST:
            raise event.place.error("this note is longer than 64 whole notes.", "Check its length.")
        layer = self.bar.layers[-1]
        if len(layer) >= MOST_NOTES_IN_A_BAR:
            raise event.place.error(
                f"a bar has more than {MOST_NOTES_IN_A_BAR} notes.", "Set bar lines."
            )
        if layer and (event.whole_bar or layer[-1].whole_bar):
            raise event.place.error(
                "a rest of whole bars shares its bar with something.", "Put “|” between them."
            )
        self.started = True
        event.grace = self._grace
        event.joined = not self._space
        if not self._grace:
            event.signs, self._signs = self._signs, []
            event.symbols, self._symbols = self._symbols, []
            self._take_tuplet(event)
            self._take_broken(event)
        event.slur_starts, self._slur_starts = self._slur_starts, 0
        self.bar.layers[-1].append(event)
        if not self._grace:
            self._last = event
            self._closed_bar = False
        self._space = False

    def _take_tuplet(self, event: VoiceEvent) -> None:
        number, left = self._tuplet
        if left:
            event.tuplet = number
            self._tuplet = (number, left - 1)

    def _take_broken(self, event: VoiceEvent) -> None:
        if self._broken is not None:
            event.length *= self._broken[0]
            self._broken = None

    def _finish_bar_checks(self) -> None:
        if self._broken is not None:
            raise self._broken[1].error(
                "a broken rhythm has no second note in its bar.", "Write “a>b” or “a<b”."
            )
        if self._tuplet[1]:
            raise self._tuplet_place.error(
                f"this tuplet lacks {self._tuplet[1]} of its notes before the bar ends.",
                "Add them, or say how many it has: “(3:2:2”.",
            )

    def _end_bar(self, right: str, *, closes: bool = False) -> None:
        self._finish_bar_checks()
        self._space = True
        self.accidentals.clear()
        if self.bar.is_empty:
            self._bar_line_again(right, closes=closes)
            return
        self.bar.right = right
        self.bar.closes = closes
        self.voice.bars.append(self.bar)
        self.bar = AbcBar(metre=self.metre)
        if self._metre_due:
            self._change(self.metre)
            self._metre_due = False
        self._closed_bar = True

    def _bar_line_again(self, right: str, *, closes: bool) -> None:
        """A second bar line with nothing before it belongs to the bar before."""
        if not self.voice.bars:
            return
        before = self.voice.bars[-1]
        before.closes = before.closes or closes
        before.right = right if right != "single" else before.right
        before.jumps += self.bar.jumps
        self.bar.jumps = []

    def finished(self) -> AbcVoice:
        """The voice with its last bar closed."""
        self._end_bar("single")
        if self._slurs:
            raise self._slurs[-1].error("this slur is never ended.", "Add “)” where it ends.")
        return self.voice
