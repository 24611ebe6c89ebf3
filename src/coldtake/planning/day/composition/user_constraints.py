"""What the player insists on, made to fit the hard rules; everything else stays as wished.

Hard are the minutes given and 60 minutes without a break. Wishes are taken in the order they were
made; the one that would break a hard rule is shortened or moved, else left out, and a remark says
which and what was done. Soft rules (period cap, number of topics, order) give way to the player.
What no hard rule forbids and still could not be kept is said of the finished plan (`unmet`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from coldtake.domain.history.state import State
from coldtake.domain.plan import HARD_PERIOD_MIN, PlanRequest, PlanRules, SlotKind, Wish
from coldtake.domain.topic import MET_ONCE, Place
from coldtake.planning.day.composition.options import Limits
from coldtake.planning.day.composition.packing import pack
from coldtake.planning.day.composition.periods import most_periods, room
from coldtake.planning.day.composition.slot_drafts import PinnedSlot

_MOST_WORK = 3  # slots of work on one step that can be insisted on


@dataclass(frozen=True, slots=True)
class UserConstraints:
    """Steps of which no free slot is wanted, slots that must be in, and what was changed in them.

    said : numbers of the wishes that the remarks speak of
    """

    refused: frozenset[str]
    insisted: tuple[PinnedSlot, ...]
    remarks: tuple[str, ...]
    said: frozenset[int] = frozenset()


def least_minutes(slot: PinnedSlot, limits: Limits) -> int:
    """Fewest minutes of a slot that is insisted on."""
    return slot.minutes or (limits.cold if slot.kind is SlotKind.COLD else limits.least)


class _Reading:
    def __init__(self, state: State, request: PlanRequest, rules: PlanRules, limits: Limits):
        self.state, self.rules, self.limits = state, rules, limits
        self.minutes = request.minutes
        self.refused: set[str] = set()
        self.slots: list[PinnedSlot] = []
        self.remarks: list[str] = []
        self.said: set[int] = set()

    def title(self, step_id: str) -> str:
        return f"“{self.state.steps[step_id].title}”"

    def say(self, slot: PinnedSlot, words: str) -> None:
        """Say what became of a wish."""
        self.remarks.append(f"{self.title(slot.step_id)} {words}")
        self.said.add(slot.number)

    def take(self, number: int, wish: Wish) -> None:
        """Take one wish. A refusal outranks earlier wishes for its step, not later ones."""
        if wish.step_id not in self.state.steps:
            self.remarks.append("A change was skipped: its step was deleted.")
        elif wish.refused:
            self.refused.add(wish.step_id)
            for slot in [s for s in self.slots if s.step_id == wish.step_id]:
                self.slots.remove(slot)
                self.say(slot, "is left out: you removed it after adding it.")
        else:
            place = (wish.minutes, wish.period, wish.index, wish.at_min)
            self._insist(PinnedSlot(wish.step_id, wish.kind, *place, number))

    def _insist(self, slot: PinnedSlot) -> None:
        same = [s for s in self.slots if (s.step_id, s.kind) == (slot.step_id, slot.kind)]
        most = 1 if slot.kind is SlotKind.COLD else _MOST_WORK
        if len(same) < most:
            self.slots.append(slot)
        elif most == 1:
            self.say(slot, "can have only one cold take a day. The second one is left out.")
        else:
            self.say(slot, f"has {most} slots already: one more is left out.")

    def fit(self) -> None:
        """Keep the hard rules, slot by slot."""
        wanted, self.slots = self.slots, []
        for slot in wanted:
            placed = self._in_period(self._in_last_period(slot))
            kept = self._in_time(placed)
            if kept is not None:
                self.slots.append(kept)

    def _in_last_period(self, slot: PinnedSlot) -> PinnedSlot:
        last = most_periods(self.minutes, self.rules) - 1
        if slot.period is None or slot.period <= last:
            return slot
        self.say(
            slot,
            f"is in the last period: {self.minutes} min have no period {slot.period + 1}.",
        )
        return replace(slot, period=last, index=None, at_min=None)

    def _in_period(self, slot: PinnedSlot) -> PinnedSlot:
        free = replace(slot, period=None, index=None, at_min=None)
        if slot.period is None or self._fits(slot) or not self._fits(free):
            return slot
        self.say(
            slot,
            f"was moved to another place: with it period {slot.period + 1} would be longer "
            "than 60 min.",
        )
        return free

    def _in_time(self, slot: PinnedSlot) -> PinnedSlot | None:
        """Keep the slot, shorten it to what still fits, or leave it out."""
        wanted = least_minutes(slot, self.limits)
        if self._fits(slot):
            return slot
        shortest = 1 if slot.kind is SlotKind.COLD else min(self.limits.least, wanted)
        for minutes in range(wanted - 1, shortest - 1, -1):
            shorter = replace(slot, minutes=minutes)
            if self._fits(shorter):
                self.say(
                    slot,
                    f"has {minutes} min, not {wanted} min: more does not fit into "
                    f"{self.minutes} min with at most 60 min without a break.",
                )
                return shorter
        self.say(
            slot,
            f"has no room: your changes need more than {self.minutes} min.",
        )
        return None

    def _fits(self, slot: PinnedSlot) -> bool:
        slots = (*self.slots, slot)
        return hard_places(slots, self.minutes, self.rules, self.limits) is not None

    def note_unusual(self) -> None:
        """Say where a wish goes past what would have been proposed."""
        met = {i for i, phase in self.state.phases().items() if phase in MET_ONCE}
        for step_id in dict.fromkeys(s.step_id for s in self.slots):
            step = self.state.steps[step_id]
            needs = [n for n in step.needs if n in self.state.steps and n not in met]
            topic = self.state.topics.get(step.topic_id)
            if needs:
                first = self.title(needs[0])
                self.remarks.append(
                    f"{self.title(step_id)} needs {first}, which is not met yet. "
                    "It is in the plan because you added it."
                )
            elif topic is not None and topic.place is not Place.CURRENT:
                self.remarks.append(
                    f"{self.title(step_id)} belongs to a topic that is not current. "
                    "It is in the plan because you added it."
                )


def hard_places(
    slots: Sequence[PinnedSlot], minutes: int, rules: PlanRules, limits: Limits
) -> tuple[int, tuple[int, ...]] | None:
    """Return (number of periods, period of each slot) that keep the hard rules, or None.

    The most breaks that leave room for all the slots.
    """
    sizes = [least_minutes(s, limits) for s in slots]
    first = max((s.period for s in slots if s.period is not None), default=0) + 1
    last = max(most_periods(minutes, rules), first)
    for periods in range(last, first - 1, -1):
        if sum(sizes) <= room(minutes, periods, rules):
            found = pack(sizes, [s.period for s in slots], periods, HARD_PERIOD_MIN)
            if found is not None:
                return periods, found
    return None


def read_wishes(
    state: State, request: PlanRequest, rules: PlanRules, limits: Limits
) -> UserConstraints:
    """Read the request's wishes in their order."""
    reading = _Reading(state, request, rules, limits)
    for number, wish in enumerate(request.wishes):
        reading.take(number, wish)
    reading.fit()
    if reading.slots:
        reading.note_unusual()
    return UserConstraints(
        frozenset(reading.refused),
        tuple(reading.slots),
        tuple(reading.remarks),
        frozenset(reading.said),
    )


def minutes_by_period(slots: Sequence[PinnedSlot], limits: Limits) -> dict[int, int]:
    """Sum the minutes insisted on in each named period."""
    sums: dict[int, int] = {}
    for slot in slots:
        if slot.period is not None:
            sums[slot.period] = sums.get(slot.period, 0) + least_minutes(slot, limits)
    return sums
