"""Which alteration a note has, and which accidental must be printed before it.

Accidentals hold to the end of the bar in all octaves (ABC 2.1, section 11.3, default "pitch");
what is printed follows the usual rule of the page, where they hold in their own octave only.
"""

from coldtake.music.abc.tune import Head, Key, SourcePosition, VoiceEvent


class Accidentals:
    """The alterations in force in one bar of one voice. propagate: not, octave or pitch."""

    def __init__(self, propagate: str) -> None:
        self.propagate = propagate
        self.key = Key()
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
