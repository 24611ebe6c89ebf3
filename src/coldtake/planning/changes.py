"""What the player does to a plan: each action turns the plan into the request that asks for it.

Pure: nothing is solved here; give the request to `plan_day`. A slot that was touched keeps its
minutes and place (a wish), so that the rest is solved around it. Every function raises
NotFoundError for a slot that is not in the plan.
"""

from collections.abc import Sequence

import msgspec

from coldtake.domain.plan import HARD_PERIOD_MIN, Plan, PlanRequest, Slot, SlotKind, Wish
from coldtake.errors import NotFoundError

Order = tuple[tuple[str, ...], ...]


def pin(plan: Plan, slot_id: str) -> PlanRequest:
    """Keep a slot as it is: its minutes and its place."""
    return _with_places(plan, _order(plan), slot_id)


def unpin(plan: Plan, slot_id: str) -> PlanRequest:
    """Leave a slot to the solver again."""
    slot = find(plan, slot_id)
    mine = _wish_of(plan, slot)
    return _request(plan, [w for w in plan.request.wishes if w is not mine])


def move(plan: Plan, slot_id: str, period: int, index: int) -> PlanRequest:
    """Put a slot into a period at an index (both from 0; past the end is the end).

    Other slots that are pinned in the periods concerned make room. A period one past the last is
    a new one.
    """
    find(plan, slot_id)
    rows = [[i for i in row if i != slot_id] for row in _order(plan)]
    period = min(max(period, 0), len(rows))
    if period == len(rows):
        rows.append([])
    rows[period].insert(min(max(index, 0), len(rows[period])), slot_id)
    return _with_places(plan, tuple(map(tuple, rows)), slot_id)


def longer(plan: Plan, slot_id: str, minutes: int = 1) -> PlanRequest:
    """Give a slot so many more minutes, at most an hour in all."""
    slot = find(plan, slot_id)
    return _with_places(plan, _order(plan), slot_id, minutes=_held(slot.minutes + minutes))


def shorter(plan: Plan, slot_id: str, minutes: int = 1) -> PlanRequest:
    """Take so many minutes from a slot, which keeps at least one."""
    return longer(plan, slot_id, -minutes)


def refuse(plan: Plan, slot_id: str) -> PlanRequest:
    """Keep the slot's step out of this session."""
    step_id = find(plan, slot_id).step_id
    return _request(plan, [*_others(plan, step_id), Wish(step_id=step_id, refused=True)])


def allow(plan: Plan, step_id: str) -> PlanRequest:
    """Take every wish about a step back, a refusal too."""
    return _request(plan, _others(plan, step_id))


def add(plan: Plan, step_id: str, *, kind: SlotKind = SlotKind.WORK) -> PlanRequest:
    """Ask for a step that was left out; minutes and place are the solver's."""
    kept = [w for w in plan.request.wishes if w.step_id != step_id or not w.refused]
    return _request(plan, [*kept, Wish(step_id=step_id, kind=kind)])


def swap(plan: Plan, slot_id: str, step_id: str) -> PlanRequest:
    """Work on another step in a slot's place and minutes; the slot's own step stays out."""
    slot = find(plan, slot_id)
    if slot.step_id == step_id:
        return pin(plan, slot_id)
    period, index = _place_of(_order(plan), slot_id)
    minutes = slot.minutes if slot.kind is SlotKind.WORK else None
    kept = [w for w in _others(plan, slot.step_id) if w.step_id != step_id or not w.refused]
    instead = Wish(step_id=step_id, minutes=minutes, period=period, index=index)
    return _request(plan, [*kept, Wish(step_id=slot.step_id, refused=True), instead])


def reset(plan: Plan) -> PlanRequest:
    """Take every wish back."""
    return _request(plan, [])


def find(plan: Plan, slot_id: str) -> Slot:
    """Return a slot of the plan. Raises NotFoundError."""
    for slot in plan.slots:
        if slot.id == slot_id:
            return slot
    raise NotFoundError(
        "This slot is not in the plan any more.", remedy="Load the plan again and choose a slot."
    )


def _held(minutes: int) -> int:
    return min(max(minutes, 1), HARD_PERIOD_MIN)


def _request(plan: Plan, wishes: Sequence[Wish]) -> PlanRequest:
    return msgspec.structs.replace(plan.request, wishes=tuple(wishes))


def _order(plan: Plan) -> Order:
    return tuple(tuple(s.id for s in p.slots) for p in plan.periods)


def _others(plan: Plan, step_id: str) -> list[Wish]:
    return [w for w in plan.request.wishes if w.step_id != step_id]


def _place_of(order: Order, slot_id: str) -> tuple[int, int]:
    return next((p, row.index(slot_id)) for p, row in enumerate(order) if slot_id in row)


def _wish_of(plan: Plan, slot: Slot) -> Wish | None:
    """Return the wish that pinned a slot: the one for its place, else by playing order."""
    if not slot.pinned:
        return None
    order = _order(plan)
    alike = [s for s in plan.slots if s.pinned and _same(s, slot)]
    wishes = [w for w in plan.request.wishes if not w.refused and _same(w, slot)]
    for wish in wishes:
        if (wish.period, wish.index) == _place_of(order, slot.id):
            return wish
    rank = alike.index(slot)
    return wishes[min(rank, len(wishes) - 1)] if wishes else None


def _same(a: Slot | Wish, b: Slot) -> bool:
    return (a.step_id, a.kind) == (b.step_id, b.kind)


def _with_places(
    plan: Plan, order: Order, slot_id: str, *, minutes: int | None = None
) -> PlanRequest:
    """Wish this slot at its place in `order`; slots already pinned in it follow their places."""
    slot = find(plan, slot_id)
    mine = _wish_of(plan, slot)
    wishes = [w for w in plan.request.wishes if w is not mine]
    for other in plan.slots:
        held = _wish_of(plan, other) if other.id != slot_id else None
        if held is not None and held.index is not None:
            at = [n for n, w in enumerate(wishes) if w is held]
            for n in at:
                wishes[n] = _placed(held, order, other.id)
    wish = Wish(step_id=slot.step_id, kind=slot.kind, minutes=minutes or slot.minutes)
    return _request(plan, [*wishes, _placed(wish, order, slot_id)])


def _placed(wish: Wish, order: Order, slot_id: str) -> Wish:
    period, index = _place_of(order, slot_id)
    return msgspec.structs.replace(wish, period=period, index=index)
