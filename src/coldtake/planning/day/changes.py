"""What the player does to a plan: each action turns the plan into the request that asks for it.

Pure: nothing is solved here; give the request to `plan_day`. A slot that was touched keeps its
minutes, its place and the minute at which it begins (a wish), so that the rest is solved around it.
A wish belongs to one slot (`Slot.wish`), not to a step: what is done to one slot leaves the other
slots of its step as the player put them. Every function raises NotFoundError for a slot that is not
in the plan.
"""

from collections.abc import Iterator

import msgspec

from coldtake.domain.plan import HARD_PERIOD_MIN, Plan, PlanRequest, Slot, SlotKind, Wish
from coldtake.errors import NotFoundError


def pin(plan: Plan, slot_id: str) -> PlanRequest:
    """Keep a slot as it is: its minutes, its place and its time."""
    return longer(plan, slot_id, 0)


def unpin(plan: Plan, slot_id: str) -> PlanRequest:
    """Leave a slot to the solver again."""
    return _Wishes(plan).without(find(plan, slot_id)).request()


def move(plan: Plan, slot_id: str, period: int, index: int) -> PlanRequest:
    """Put a slot into a period at an index (both from 0; past the end is the end).

    Slots pinned between its old and its new place move up by one; in another period those that
    stand where it goes come after it. All others stay. A period one past the last is a new one.
    """
    slot = find(plan, slot_id)
    wishes = _Wishes(plan)
    period = min(max(period, 0), len(plan.periods))
    row = plan.periods[period].slots if period < len(plan.periods) else ()
    own = next((n for n, s in enumerate(row) if s.id == slot_id), None)
    index = min(max(index, 0), len(row) - (own is not None))
    if own is None:
        wishes.pushed(period, index)
    else:
        wishes.shifted(row, own, index)
    wish = Wish(
        step_id=slot.step_id, kind=slot.kind, minutes=slot.minutes, period=period, index=index
    )
    return wishes.without(slot).request(wish)


def longer(plan: Plan, slot_id: str, minutes: int = 1) -> PlanRequest:
    """Give a slot so many more minutes, at most an hour in all.

    Pinned slots that follow it without anything between begin as much later.
    """
    slot = find(plan, slot_id)
    length = min(max(slot.minutes + minutes, 1), HARD_PERIOD_MIN)
    wishes = _Wishes(plan).delayed(slot, length - slot.minutes).without(slot)
    period, index, at_min = place_of(plan, slot_id)
    wish = Wish(step_id=slot.step_id, kind=slot.kind, minutes=length, period=period, index=index)
    return wishes.request(msgspec.structs.replace(wish, at_min=at_min))


def shorter(plan: Plan, slot_id: str, minutes: int = 1) -> PlanRequest:
    """Take so many minutes from a slot, which keeps at least one."""
    return longer(plan, slot_id, -minutes)


def refuse(plan: Plan, slot_id: str) -> PlanRequest:
    """Keep the slot's step out of this session, but for its other slots that the player wished."""
    slot = find(plan, slot_id)
    return _Wishes(plan).without(slot).refused(slot.step_id).request()


def allow(plan: Plan, step_id: str) -> PlanRequest:
    """Take back a step's refusal, and what was asked of it and found no room."""
    return _Wishes(plan).allowed(step_id).request()


def add(plan: Plan, step_id: str, *, kind: SlotKind = SlotKind.WORK) -> PlanRequest:
    """Ask for a step that was left out; minutes and place are the solver's."""
    return _Wishes(plan).allowed(step_id).request(Wish(step_id=step_id, kind=kind))


def swap(plan: Plan, slot_id: str, step_id: str) -> PlanRequest:
    """Work on another step in a slot's place and minutes; the slot's own step stays out."""
    slot = find(plan, slot_id)
    if slot.step_id == step_id:
        return pin(plan, slot_id)
    period, index, at_min = place_of(plan, slot_id)
    minutes = slot.minutes if slot.kind is SlotKind.WORK else None
    wishes = _Wishes(plan).without(slot).refused(slot.step_id).allowed(step_id)
    wish = Wish(step_id=step_id, minutes=minutes, period=period, index=index, at_min=at_min)
    return wishes.request(wish)


def reset(plan: Plan) -> PlanRequest:
    """Take every wish back."""
    return msgspec.structs.replace(plan.request, wishes=())


def settled(plan: Plan) -> PlanRequest:
    """Return the request with the length and the minute that wishes for a place have got.

    From then on they are kept when the rest is solved again.
    """
    wishes = list(plan.request.wishes)
    for slot, period, index, at_min in places(plan):
        wish = wishes[slot.wish] if slot.wish is not None else None
        if slot.wish is None or wish is None or wish.period is None:
            continue
        minutes = slot.minutes if wish.minutes is None else wish.minutes
        stands = wish.at_min is None and (wish.period, wish.index) == (period, index)
        begins = at_min if stands else wish.at_min
        wishes[slot.wish] = msgspec.structs.replace(wish, minutes=minutes, at_min=begins)
    return msgspec.structs.replace(plan.request, wishes=tuple(wishes))


def find(plan: Plan, slot_id: str) -> Slot:
    """Return a slot of the plan. Raises NotFoundError."""
    for slot in plan.slots:
        if slot.id == slot_id:
            return slot
    raise NotFoundError(
        "This slot is no longer in the plan.", remedy="Reload the page and choose a slot."
    )


def places(plan: Plan) -> Iterator[tuple[Slot, int, int, int]]:
    """Go through the slots with period, index and minutes from the session's start."""
    at_min = plan.lead_min
    for number, period in enumerate(plan.periods):
        at_min += plan.rules.break_min if number else 0
        for index, slot in enumerate(period.slots):
            yield slot, number, index, at_min
            at_min += slot.minutes


def place_of(plan: Plan, slot_id: str) -> tuple[int, int, int]:
    """Return a slot's period, index and minutes from the session's start."""
    find(plan, slot_id)
    return next((p, i, at) for s, p, i, at in places(plan) if s.id == slot_id)


def wish_number(plan: Plan, slot: Slot) -> int | None:
    """Return which of the request's wishes a slot fulfils, or None.

    Plans of older logs do not say it: there it is the wish for its place, else one for its step.
    """
    wishes = plan.request.wishes
    if slot.wish is not None or not slot.pinned:
        return slot.wish if slot.wish is not None and slot.wish < len(wishes) else None
    known = [n for n, w in enumerate(wishes) if not w.refused and _same(w, slot)]
    at = place_of(plan, slot.id)[:2]
    exact = [n for n in known if (wishes[n].period, wishes[n].index) == at]
    alike = [s.id for s in plan.slots if s.pinned and s.wish is None and _same(s, slot)]
    return next(iter(exact or known[alike.index(slot.id) :] or known[-1:]), None)


def _same(a: Slot | Wish, b: Slot) -> bool:
    return (a.step_id, a.kind) == (b.step_id, b.kind)


class _Wishes:
    """The wishes of a plan while they are changed, each under its number."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.known = dict(enumerate(plan.request.wishes))
        numbers = ((slot.id, wish_number(plan, slot)) for slot in plan.slots)
        self.number = {slot_id: n for slot_id, n in numbers if n is not None}

    def request(self, *more: Wish) -> PlanRequest:
        """Return the plan's request with these wishes, and more after them."""
        return msgspec.structs.replace(self.plan.request, wishes=(*self.known.values(), *more))

    def without(self, slot: Slot) -> "_Wishes":
        """Let go of what one slot fulfils."""
        self.known.pop(self.number.get(slot.id, -1), None)
        return self

    def refused(self, step_id: str) -> "_Wishes":
        """Keep a step out; its slots that are wished stand after that and outrank it."""
        wish = Wish(step_id=step_id, refused=True)
        others = {n: w for n, w in self.known.items() if w != wish}
        self.known = {-1: wish, **others}
        return self

    def allowed(self, step_id: str) -> "_Wishes":
        """Let go of a step's refusal and of wishes for it that no slot fulfils."""
        met = set(self.number.values())
        self.known = {
            n: w for n, w in self.known.items() if w.step_id != step_id or (n in met and n >= 0)
        }
        return self

    def delayed(self, slot: Slot, minutes: int) -> "_Wishes":
        """Let the wished slots that follow without a free one between begin so much later."""
        after = self.plan.slots[self.plan.slots.index(slot) + 1 :] if minutes else ()
        for other in after:
            number = self.number.get(other.id)
            if number is None:
                break
            at_min = self.known[number].at_min
            if at_min is not None:
                self._put(number, at_min=max(at_min + minutes, 0))
        return self

    def shifted(self, row: tuple[Slot, ...], source: int, target: int) -> None:
        """Move up the wished slots that a move inside a period passes."""
        step = 1 if target < source else -1
        low, high = sorted((source, target))
        for index, other in enumerate(row):
            number = self.number.get(other.id)
            if number is None or self.known[number].index is None or index == source:
                continue
            if low <= index <= high:
                self._put(number, index=index + step, at_min=None)

    def pushed(self, period: int, index: int) -> None:
        """Make room for a slot that comes from another period."""
        taken = {w.index: n for n, w in self.known.items() if w.period == period and not w.refused}
        while index in taken:
            self._put(taken[index], index=index + 1, at_min=None)
            index += 1

    def _put(self, number: int, **fields: int | None) -> None:
        self.known[number] = msgspec.structs.replace(self.known[number], **fields)
