"""The order in which bars are played: repeats, endings and jumps written out.

An `expansion` of the page (MEI) says the order itself and is followed. Otherwise: a repeat sign
sends back to the last opening sign, the end of the last finished repeat or the beginning; an ending
is played in the passes of its numbers; after D.C. or D.S. no repeat is taken and of several
endings the last is played, until Fine, or from "to coda" to the coda (common practice, no source).
"""

from collections.abc import Sequence
from typing import Protocol

from coldtake.errors import PassageError
from coldtake.music import mei
from coldtake.music.mei import Element
from coldtake.music.notation.reading.written_bars import WrittenBar


class Signed(Protocol):
    """A bar with the signs that say what is played after it."""

    @property
    def opens_repeat(self) -> bool:
        """A repeat starts at the left barline."""

    @property
    def closes_repeat(self) -> bool:
        """A repeat ends at the right barline."""

    @property
    def ending(self) -> tuple[int, ...]:
        """Passes that play it, () when all do."""

    @property
    def marks(self) -> set[str]:
        """Of segno, coda, dalsegno, dacapo, fine, tocoda."""


MOST_BARS = 20_000  # bars as played; more is a runaway repeat, not a passage


def order(score: Element, bars: Sequence[WrittenBar]) -> list[int]:
    """Indices into `bars` in the order of playing; raises PassageError past MOST_BARS."""
    expansions = list(mei.all_of(score, "expansion"))
    return _expanded(score, bars) if expansions else Unfolding(bars).run()


def _expanded(score: Element, bars: Sequence[WrittenBar]) -> list[int]:
    places = {id(bar.element): index for index, bar in enumerate(bars)}
    by_id = {mei.xml_id(e): e for e in score.iter() if mei.xml_id(e)}
    played: list[int] = []

    def play(element: Element, depth: int = 0) -> None:
        if depth > 50 or len(played) > MOST_BARS:
            raise _runaway()
        if id(element) in places:
            played.append(places[id(element)])
            return
        expansion = mei.child(element, "expansion")
        if expansion is not None:
            for name in mei.refs(expansion, "plist"):
                if name in by_id:
                    play(by_id[name], depth + 1)
            return
        for inner in element:
            if mei.kind(inner) in ("section", "ending", "measure", "mdiv", "lem", "app"):
                play(inner, depth + 1)

    play(score)
    return played


def _runaway() -> PassageError:
    return PassageError(
        f"the repeats add up to more than {MOST_BARS} bars.",
        where="repeat signs",
        remedy="Check the repeat signs and jumps, or use a shorter passage.",
    )


class Unfolding:
    """One walk through the bars; `run` gives the order."""

    def __init__(self, bars: Sequence[Signed]) -> None:
        self.bars = bars
        self.played: list[int] = []
        self.start = 0
        self.turn = 1
        self.returned = False
        self.coda_due = False
        self.done_jumps: set[int] = set()

    def run(self) -> list[int]:
        """The order of playing."""
        at: int | None = 0
        while at is not None and at < len(self.bars):
            if len(self.played) > MOST_BARS:
                raise _runaway()
            at = self._bar(at)
        return self.played

    def _bar(self, at: int) -> int | None:
        """Play or skip one bar; the next one, or None at the end."""
        bar = self.bars[at]
        if (bar.opens_repeat and at != self.start) or self._left_endings(at):
            self.start, self.turn = at, 1
        if bar.ending and not self._is_due(at):
            return at + 1
        self.played.append(at)
        return self._after(at)

    def _left_endings(self, at: int) -> bool:
        fresh = bool(self.played) and self.played[-1] == at - 1
        return fresh and at > 0 and bool(self.bars[at - 1].ending) and not self.bars[at].ending

    def _is_due(self, at: int) -> bool:
        last = self._last_turn(at)
        return last in self.bars[at].ending if self.returned else self.turn in self.bars[at].ending

    def _last_turn(self, at: int) -> int:
        """Passes that the group of endings around a bar asks for; 2 for a plain repeat."""
        if not self.bars[at].ending:
            return 2
        low, high = at, at
        while low > 0 and self.bars[low - 1].ending:
            low -= 1
        while high + 1 < len(self.bars) and self.bars[high + 1].ending:
            high += 1
        return max(max(b.ending) for b in self.bars[low : high + 1])

    def _after(self, at: int) -> int | None:
        bar = self.bars[at]
        if bar.closes_repeat and not self.returned:
            if self.turn < self._last_turn(at):
                self.turn += 1
                return self.start
            self.start, self.turn = at + 1, 1
        if self.returned and "fine" in bar.marks:
            return None
        if self.coda_due and "tocoda" in bar.marks:
            self.coda_due = False
            return self._find("coda", at + 1)
        if at not in self.done_jumps and bar.marks & {"dacapo", "dalsegno"}:
            return self._jump(at)
        return at + 1

    def _jump(self, at: int) -> int | None:
        self.done_jumps.add(at)
        self.returned, self.coda_due = True, True
        return 0 if "dacapo" in self.bars[at].marks else self._find("segno", 0)

    def _find(self, mark: str, first: int) -> int:
        for at in range(first, len(self.bars)):
            if mark in self.bars[at].marks:
                return at
        raise PassageError(
            f"a jump asks for a {mark} sign, but there is none to go to.",
            where="jumps",
            remedy=f"Add the {mark} sign, or write the repeat out.",
        )
