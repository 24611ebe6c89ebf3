"""A day composed around what the player insists on, with as little disturbed as can be.

A wish that the best plan fulfils anyway binds nothing: pinning what is there changes nothing. So
wishes are let in only where they are missed: first none, then those that the last try missed, at
last all. The try that misses least is kept, the earlier one where two are alike.
"""

from collections.abc import Iterator
from dataclasses import replace

from coldtake.planning.day.composition.compose import Composed, Task, compose
from coldtake.planning.day.composition.slot_drafts import PinnedSlot, SlotDraft

_TRIES = 2  # with some of the wishes, before all of them are let in
_OTHER_PERIOD = 100
_ABSENT_MIN = 1000  # a slot that is not there at all weighs as much as one so many minutes off

Wished = tuple[tuple[int, PinnedSlot], ...]


def compose_around(task: Task) -> Composed:
    """Compose a day; each slot that fulfils a wish says which."""
    wished = tuple((row, slot) for row, slots in task.insisted.items() for slot in slots)
    if not wished:
        return compose(task)
    let_in = tuple(one for one in wished if one[0] in task.closed)
    made = []
    for _ in range(_TRIES):
        found, missed = _try(task, wished, let_in)
        made.append((sum(missed.values()), found))
        if not missed:
            break
        let_in = tuple(one for one in wished if one in let_in or one[1].number in missed)
        if let_in == wished:
            break
    if made[-1][0]:
        found, missed = _try(task, wished, wished)
        made.append((sum(missed.values()), found))
    return min(made, key=lambda one: one[0])[1]


def _try(task: Task, wished: Wished, let_in: Wished) -> tuple[Composed, dict[int, int]]:
    """Compose with some of the wishes; return by number how far each one is missed."""
    insisted: dict[int, tuple[PinnedSlot, ...]] = {}
    for row, slot in let_in:
        insisted[row] = (*insisted.get(row, ()), slot)
    composed = compose(replace(task, insisted=insisted))
    marked, missed = _marked(task, composed.periods, wished)
    return replace(composed, periods=marked), missed


def _marked(
    task: Task, periods: tuple[tuple[SlotDraft, ...], ...], wished: Wished
) -> tuple[tuple[tuple[SlotDraft, ...], ...], dict[int, int]]:
    """Write each wish on the slot that fulfils it."""
    rows = [list(period) for period in periods]
    missed: dict[int, int] = {}
    for row, slot in wished:
        step_id = task.values[row].step_id
        found = [
            (_missed_by(slot, piece, (p, i, at)), p, i)
            for piece, p, i, at in _along(rows, task.rules.break_min)
            if (piece.step_id, piece.kind) == (step_id, slot.kind)
            if (piece.wish or slot).number == slot.number
        ]
        by, p, i = min(found, default=(_ABSENT_MIN, -1, -1))
        if by < _ABSENT_MIN:
            rows[p][i] = replace(rows[p][i], wish=slot)
        if by:
            missed[slot.number] = by
    return tuple(map(tuple, rows)), missed


def _along(
    rows: list[list[SlotDraft]], break_min: int
) -> Iterator[tuple[SlotDraft, int, int, int]]:
    at = 0
    for p, row in enumerate(rows):
        for i, piece in enumerate(row):
            yield piece, p, i, at
            at += piece.minutes
        at += break_min


def _missed_by(slot: PinnedSlot, piece: SlotDraft, place: tuple[int, int, int]) -> int:
    """Return 0 for a slot that is as wished, minutes or places off, else `_ABSENT_MIN`."""
    period, index, at_min = place
    if piece.minutes != (slot.minutes or piece.minutes):
        return _ABSENT_MIN
    if slot.period is None:
        return 0
    if slot.at_min is not None:
        return min(abs(at_min - slot.at_min), _ABSENT_MIN - 1)
    return _OTHER_PERIOD * (period != slot.period) + abs(
        index - (index if slot.index is None else slot.index)
    )
