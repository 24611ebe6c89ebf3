"""What is not in the plan: spare slots for an early yes, and what was left out and why."""

from collections.abc import Sequence
from dataclasses import dataclass

from coldtake.domain.plan import LeftOut, SlotKind
from coldtake.planning.day.composition.compose import LOOK_FURTHER_MIN, Composed, Task
from coldtake.planning.day.composition.options import (
    WORTHLESS,
    longest_work,
    shortest_work,
    work_worth,
)
from coldtake.planning.day.composition.slot_drafts import SlotDraft
from coldtake.planning.day.reasons import Reasons
from coldtake.planning.value.values import StepValue

SPARE_SLOTS = 3
_FURTHER_BY_MIN = 5


@dataclass(frozen=True, slots=True)
class _Extra:
    """A slot that could be added: its row, minutes and what they would bring."""

    row: int
    minutes: int
    gain: float

    @property
    def density(self) -> float:
        """Points a minute."""
        return self.gain / self.minutes


def _planned_work(composed: Composed) -> dict[int, int]:
    return {p.row: p.work_min for p in composed.choice.picks if p.work_min}


def best_slot(task: Task, row: int, done: int = 0) -> _Extra:
    """Return the slot with most points a minute on a step, after `done` minutes; first if equal."""
    value, fresh = task.values[row], task.fresh[row] and not done
    single, _double = longest_work(value.need_left_min, task.limits, fresh=fresh)
    tried = [
        _Extra(row, m, work_worth(value, done + m) - work_worth(value, done))
        for m in range(shortest_work(task.limits, fresh=fresh), single + 1)
    ]
    return max(tried, key=lambda e: (e.density, -e.minutes))


def spare_pieces(task: Task, composed: Composed) -> tuple[SlotDraft, ...]:
    """Return up to three more slots, best first, of the planned topics or within their limit.

    Steps not in the plan come first; then another slot of a planned step.
    """
    topics = {p.topic_id for period in composed.periods for p in period}
    planned = _planned_work(composed)
    if not topics:
        return ()
    full = len(topics) >= task.rules.topics_most
    free = [
        row
        for row, v in enumerate(task.values)
        if v.available and row not in task.closed and (v.topic_id in topics or not full)
    ]
    fresh = [best_slot(task, row) for row in free if row not in planned]
    again = [best_slot(task, row, planned[row]) for row in free if row in planned]
    chosen = [
        *sorted(fresh, key=lambda e: (-e.density, e.row)),
        *sorted(again, key=lambda e: (-e.density, e.row)),
    ]
    return tuple(_piece(task, e) for e in _within(task, chosen, topics) if e.gain > WORTHLESS)


def _within(task: Task, chosen: Sequence[_Extra], topics: set[str]) -> list[_Extra]:
    """Keep the first few that stay inside the limit on topics."""
    kept: list[_Extra] = []
    used = set(topics)
    for extra in chosen:
        topic = task.values[extra.row].topic_id
        if len(kept) < SPARE_SLOTS and len(used | {topic}) <= max(
            task.rules.topics_most, len(used)
        ):
            used.add(topic)
            kept.append(extra)
    return kept


def _piece(task: Task, extra: _Extra) -> SlotDraft:
    value = task.values[extra.row]
    return SlotDraft(value.step_id, value.topic_id, SlotKind.WORK, extra.minutes, extra.gain)


def left_out_steps(
    task: Task, composed: Composed, reasons: Reasons, refused: Sequence[StepValue]
) -> tuple[LeftOut, ...]:
    """Return every step that could have been in and is not, the nearest to being in first."""
    chosen = {p.row for p in composed.choice.picks}
    out = [row for row in range(len(task.values)) if row not in chosen]
    entry = _entry_minutes(composed, set(out))
    free = [row for row in out if task.values[row].available]
    free.sort(key=lambda r: (entry.get(r, LOOK_FURTHER_MIN + 1), -best_slot(task, r).gain, r))
    waiting = [row for row in out if not task.values[row].available]
    words = _Words(task, composed, reasons, entry)
    return (
        *(_left(task.values[r], words.of(r)) for r in free),
        *(_left(v, "Removed by you.") for v in refused),
        *(_waiting(reasons, task.values[r]) for r in waiting),
    )


def _waiting(reasons: Reasons, value: StepValue) -> LeftOut:
    step = reasons.state.steps[value.step_id]
    return LeftOut(
        step_id=step.id,
        topic_id=value.topic_id,
        reason=reasons.blocked(step),
        lacks=reasons.lacks(step),
    )


def _left(value: StepValue, reason: str) -> LeftOut:
    return LeftOut(step_id=value.step_id, topic_id=value.topic_id, reason=reason)


def _entry_minutes(composed: Composed, out: set[int]) -> dict[int, int]:
    """For each row, the fewest more minutes (in fives) at which the choice takes it in."""
    entry: dict[int, int] = {}
    for extra in range(_FURTHER_BY_MIN, LOOK_FURTHER_MIN + 1, _FURTHER_BY_MIN):
        choice = composed.solved.choose(composed.playing_min + extra)
        for pick in choice.picks if choice else ():
            if pick.row in out:
                entry.setdefault(pick.row, extra)
    return entry


class _Words:
    """Says of each row what it would take."""

    def __init__(
        self, task: Task, composed: Composed, reasons: Reasons, entry: dict[int, int]
    ) -> None:
        self.task, self.reasons, self.entry = task, reasons, entry
        self.topics = {task.values[p.row].topic_id for p in composed.choice.picks}

    def of(self, row: int) -> str:
        """Say it of one row."""
        value, slot = self.task.values[row], best_slot(self.task, row)
        full = len(self.topics) >= self.task.rules.topics_most and value.topic_id not in self.topics
        limit = self.task.rules.topics_most if full else None
        return self.reasons.left_out(value, slot.minutes, self.entry.get(row), limit)
