"""Pinned slots begin at the minute at which they were pinned, as far as the slots before allow.

The slots that are free between two pinned ones are made longer or shorter by whole minutes, within
the limits of a slot and of a period, until the next pinned slot begins on time. What that takes
from the session comes from the slots after the last pinned one. Where it cannot be had, the slots
stay as near as they came; where the minutes given would be passed, everything stays as it was.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

from coldtake.planning.day.composition.slot_drafts import SlotDraft

Reach = Callable[[SlotDraft], tuple[int, int]]
Periods = tuple[tuple[SlotDraft, ...], ...]


def on_time(
    periods: Periods, reach: Reach, *, period_most: int, minutes: int, break_min: int
) -> Periods:
    """Return the same slots with their minutes moved.

    reach : fewest and most minutes of a slot that is not pinned; minutes : given, breaks included
    """
    slots = [piece for period in periods for piece in period]
    if not any(p.wish and p.wish.at_min is not None for p in slots):
        return periods
    moving = _Moving(periods, reach, period_most, break_min)
    since = 0
    for n, piece in enumerate(slots):
        if piece.wish and piece.wish.at_min is not None:
            moving.stretch(range(since, n), piece.wish.at_min - moving.start(n))
            since = n + 1
    moving.stretch(range(since, len(slots)), min(minutes - moving.end(), 0))
    return periods if moving.end() > minutes else moving.made()


def minutes_off(periods: Periods, break_min: int) -> int:
    """Return by how many minutes the pinned slots miss the ones at which they should begin."""
    off = at = 0
    for period in periods:
        for piece in period:
            if piece.wish and piece.wish.at_min is not None:
                off += abs(at - piece.wish.at_min)
            at += piece.minutes
        at += break_min
    return off


class _Moving:
    def __init__(self, periods: Periods, reach: Reach, period_most: int, break_min: int) -> None:
        self.slots = [piece for period in periods for piece in period]
        self.of = [p for p, period in enumerate(periods) for _ in period]
        self.sizes = [piece.minutes for piece in self.slots]
        self.reach = [reach(p) if _free(p) else (p.minutes, p.minutes) for p in self.slots]
        self.most = [max(period_most, sum(p.minutes for p in period)) for period in periods]
        self.break_min = break_min

    def start(self, n: int) -> int:
        return sum(self.sizes[:n]) + self.break_min * self.of[n]

    def end(self) -> int:
        return sum(self.sizes) + self.break_min * self.of[-1]

    def stretch(self, among: Sequence[int], minutes: int) -> None:
        """Share so many minutes out (negative: take them), one by one, to keep lengths alike."""
        for _ in range(abs(minutes)):
            able = [n for n in among if self._can(n, minutes > 0)]
            if not able:
                return
            if minutes > 0:
                self.sizes[min(able, key=lambda n: (self.sizes[n], n))] += 1
            else:
                self.sizes[max(able, key=lambda n: (self.sizes[n], -n))] -= 1

    def _can(self, n: int, more: bool) -> bool:
        least, most = self.reach[n]
        if not more:
            return self.sizes[n] > least
        period = self.of[n]
        filled = sum(m for m, p in zip(self.sizes, self.of, strict=True) if p == period)
        return self.sizes[n] < most and filled < self.most[period]

    def made(self) -> Periods:
        rows: dict[int, list[SlotDraft]] = {}
        for piece, period, size in zip(self.slots, self.of, self.sizes, strict=True):
            rows.setdefault(period, []).append(replace(piece, minutes=size))
        return tuple(map(tuple, rows.values()))


def _free(piece: SlotDraft) -> bool:
    """Say whether the minutes of a slot are the solver's."""
    return not piece.cold and (piece.wish is None or piece.wish.minutes is None)
